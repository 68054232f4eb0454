//! The axis calibration sheet: what the stage says of one axis, where to measure it, and what a measurement says about it.
//!
//! What: [`sheet`] has the numbers of the stage file, [`targets`] the positions to measure at. A measurement ([`measurement`]) is fitted by a straight line and a reversal
//! ([`fit`]); what is left is searched for a bow and for errors that repeat ([`residual`]); [`positioning`] has the figures of ISO 230-2; [`calibration`] says what follows for the stage file.
//! Invariant: every finding exceeds half a step and the last decimal of the gauge, and has a probability below one in two thousand if there were noise alone ([`chance`]).
//! Limits: one axis at a time, measured at its output; what a gauge itself does wrong is taken for an error of the axis.

pub(crate) mod calibration;
pub(crate) mod chance;
pub(crate) mod fit;
pub(crate) mod fraction;
pub(crate) mod measurement;
pub(crate) mod positioning;
pub(crate) mod residual;
pub(crate) mod sheet;
pub(crate) mod targets;

pub(crate) use calibration::{Calibration, Finding};
pub(crate) use measurement::{Approach, Measurement, Reading};
pub(crate) use sheet::AxisSheet;
