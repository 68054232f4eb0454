//! A hanging figure as the axes move it: what its hanging point does, and how it swings from one instant to the next.

pub(crate) mod hung;
pub(crate) mod support;
