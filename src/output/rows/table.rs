//! A table of rows, written in order by pieces of work that are evaluated and formatted on all threads.
//!
//! What: rows are cut into pieces of work of about a quarter of a megabyte of text; a batch of them is filled in parallel while the batch
//! before it is written. Invariant: the bytes do not depend on threads or on where the cuts fall (tested), and the first error in the
//! order of rows is the one reported. Limits: memory is that of two batches, below 32 MiB as a rule, whatever the number of rows.

use std::io::Write;

use rayon::prelude::*;

use super::format::Text;
use super::rate::{RowRate, real};
use super::sampler::Sheet;
use super::tracks::Tracks;
use super::{Extent, RowsError};
use crate::bounds::MOST_ROWS;
use crate::number::whole;
use crate::time::Seconds;

/// What is written.
#[derive(Debug)]
pub(crate) struct Table<'a> {
    tracks: &'a Tracks<'a>,
    rate: RowRate,
    axes: Vec<usize>,
    /// Derivatives: 0 none, 1 velocities, 2 accelerations as well.
    orders: u8,
    shutter: bool,
    frame: bool,
    /// Rows before the start of the program, where a warning is asked for.
    lead: Option<u64>,
    rows: u64,
    rows_a_piece: usize,
}

/// One piece of work.
#[derive(Debug, Default)]
struct Piece {
    sheet: Sheet,
    text: Text,
    done: Option<RowsError>,
}

/// Text that a piece of work aims at, bytes. Numbers of a piece then fit a processor's second-level cache.
const PIECE: usize = 256 * 1024;

/// Memory that all pieces of work together aim at, bytes.
const MEMORY: usize = 24 * 1024 * 1024;

/// About how many bytes of text and numbers a column takes in a row.
const A_COLUMN: usize = 8;

impl<'a> Table<'a> {
    /// All axes of the program, positions alone.
    ///
    /// # Errors
    /// [`RowsError::TooMany`], and more counts than the budget of the job allows.
    pub(crate) fn new(tracks: &'a Tracks<'a>, rate: RowRate) -> Result<Table<'a>, RowsError> {
        let rows = rate.rows_of(tracks.program(), tracks.extent())?;
        let (axes, most) = (tracks.axes().len(), tracks.program().compiled().budget().most_row_counts());
        if rows.saturating_mul(u64::try_from(axes).unwrap_or(u64::MAX)) > most {
            return Err(RowsError::TooLarge { rows, axes, most });
        }
        let axes: Vec<usize> = (0..tracks.axes().len()).collect();
        Ok(Table { tracks, rate, axes, orders: 0, shutter: false, frame: false, lead: None, rows, rows_a_piece: 0 })
    }

    /// Only these axes, by their indices on the stage; those that the stage does not have are left out.
    #[must_use]
    pub(crate) fn of_axes(mut self, axes: &[usize]) -> Self {
        self.axes = axes.iter().copied().filter(|i| *i < self.tracks.axes().len()).collect();
        self
    }

    /// With a velocity for each axis after all positions (1), and an acceleration after all velocities (2).
    #[must_use]
    pub(crate) fn with_derivatives(mut self, orders: u8) -> Self {
        self.orders = orders.min(2);
        self
    }

    /// With rows from so many seconds before the program on, and a column that is 1 in all of them: for a beacon or a horn.
    ///
    /// # Errors
    /// More rows than are written.
    pub(crate) fn with_warning(mut self, seconds: f64) -> Result<Self, RowsError> {
        let hz = self.rate.hz();
        let rows = real(self.rows) + (seconds * hz).ceil();
        let too_many = || RowsError::TooMany { rows, most: MOST_ROWS };
        let lead = whole::ceiling(seconds * hz).and_then(|n| u64::try_from(n).ok()).filter(|_| rows <= MOST_ROWS).ok_or_else(too_many)?;
        (self.lead, self.rows) = (Some(lead), self.rows + lead);
        Ok(self)
    }

    /// With the shutter, after all axes.
    #[must_use]
    pub(crate) fn with_shutter(mut self, shutter: bool) -> Self {
        self.shutter = shutter;
        self
    }

    /// With the photographed frame, in the last column.
    #[must_use]
    pub(crate) fn with_frame(mut self, frame: bool) -> Self {
        self.frame = frame;
        self
    }

    /// Rows of one piece of work; 0 to have it chosen. The bytes written are the same with any.
    #[cfg(test)]
    pub(crate) fn in_pieces_of(mut self, rows: usize) -> Self {
        self.rows_a_piece = rows;
        self
    }

    /// Rows, the header left out.
    #[must_use]
    pub(crate) fn rows(&self) -> u64 {
        self.rows
    }

    /// Axes by their indices on the stage.
    #[must_use]
    pub(crate) fn axes(&self) -> &[usize] {
        &self.axes
    }

    /// The header without its line end.
    #[must_use]
    pub(crate) fn header(&self) -> String {
        let names: Vec<&str> = self.axes.iter().filter_map(|i| self.tracks.axes().get(*i)).map(|c| c.name).collect();
        let mut header = "t_s".to_owned();
        for name in &names {
            header.push(',');
            header.push_str(name);
        }
        for order in [":steps_per_s", ":steps_per_s2"].iter().take(usize::from(self.orders)) {
            for name in &names {
                header.push(',');
                header.push_str(name);
                header.push_str(order);
            }
        }
        if self.shutter {
            header.push_str(",shutter");
        }
        if self.frame {
            header.push_str(",frame");
        }
        if self.lead.is_some() {
            header.push_str(",warning");
        }
        header
    }

    /// Writes header and rows. `progress` receives the number of rows written, now and then.
    ///
    /// # Errors
    /// [`RowsError::Io`] from the writer; [`RowsError::NoPosition`], of the first row that has one.
    pub(crate) fn write<W: Write + Send + ?Sized>(&self, out: &mut W, progress: &mut (dyn FnMut(u64) + Send)) -> Result<(), RowsError> {
        writeln!(out, "{}", self.header())?;
        let (rows, pieces) = self.cut();
        let mut ready = Batch::new(0);
        let mut next = Batch::new(pieces);
        let mut first = 0_u64;
        self.fill(&mut next, first, rows);
        while next.used > 0 {
            core::mem::swap(&mut ready, &mut next);
            if next.pieces.is_empty() {
                next = Batch::new(pieces);
            }
            first += ready.rows;
            let (written, ()) = rayon::join(|| ready.write(out), || self.fill(&mut next, first, rows));
            written?;
            progress(first);
        }
        out.flush()?;
        Ok(())
    }

    /// Rows a piece, pieces a batch.
    fn cut(&self) -> (usize, usize) {
        let columns = 2 + self.axes.len() * (1 + 2 * usize::from(self.orders));
        let rows = if self.rows_a_piece > 0 { self.rows_a_piece } else { (PIECE / (columns * A_COLUMN)).clamp(64, 4096) };
        // Each piece holds its numbers and its text; there are two batches.
        let piece = 2 * rows * columns * A_COLUMN;
        let most = (MEMORY / (2 * piece).max(1)).max(1);
        (rows, (8 * rayon::current_num_threads()).min(most))
    }

    /// Evaluates and formats the next batch, from row `first` on.
    fn fill(&self, batch: &mut Batch, first: u64, rows: usize) {
        let a_piece = rows as u64;
        let left = self.rows - first.min(self.rows);
        let used = usize::try_from(left.div_ceil(a_piece)).unwrap_or(usize::MAX).min(batch.pieces.len());
        batch.used = used;
        batch.rows = left.min(a_piece * used as u64);
        batch.pieces.par_iter_mut().take(used).enumerate().for_each(|(index, piece)| {
            let from = first + index as u64 * a_piece;
            let n = usize::try_from((self.rows - from).min(a_piece)).unwrap_or(rows);
            piece.done = self.piece(piece, from, n).err();
        });
    }

    /// The frame that is exposed at an instant; none on the way to one.
    fn exposed(&self, t: f64) -> Option<i64> {
        self.tracks.program().clock().exposed_frame(Seconds(t)).filter(|_| self.tracks.extent() != Extent::ToStart)
    }

    /// True from the trigger that opens the shutter to just before it closes.
    fn is_triggered(&self, t: f64) -> bool {
        let latency = self.tracks.program().compiled().stage().camera_timing().latency;
        self.exposed(t).is_some() || latency > 0.0 && self.exposed(t + latency).is_some()
    }

    fn piece(&self, piece: &mut Piece, first: u64, rows: usize) -> Result<(), RowsError> {
        let Piece { sheet, text, .. } = piece;
        text.clear();
        let lead = self.lead.unwrap_or(0);
        let waiting = usize::try_from(lead.saturating_sub(first)).unwrap_or(usize::MAX).min(rows);
        if waiting > 0 {
            // Everything stands as at the start of the program.
            sheet.fill(self.tracks, self.rate, (&self.axes, self.orders), 0, 1)?;
            for row in first..first + waiting as u64 {
                text.byte(b'-');
                self.rate.write(lead - row, text);
                self.row(sheet, 0, None, text);
            }
        }
        if waiting < rows {
            let from = first + waiting as u64 - lead;
            sheet.fill(self.tracks, self.rate, (&self.axes, self.orders), from, rows - waiting)?;
            for (row, t) in sheet.seconds().iter().enumerate() {
                self.rate.write(from + row as u64, text);
                self.row(sheet, row, Some(*t), text);
            }
        }
        Ok(())
    }

    /// What follows the time of a row; nothing is exposed, and nothing moves, where there is no instant of the program.
    fn row(&self, sheet: &Sheet, row: usize, t: Option<f64>, text: &mut Text) {
        let (columns, stride) = (sheet.columns(), sheet.stride());
        let (positions, rates) = columns.split_at_checked(self.axes.len() * stride).unwrap_or_default();
        text.fields(positions.iter().skip(row).step_by(stride).copied());
        for n in rates.iter().skip(row).step_by(stride) {
            text.thousandths_field(if t.is_some() { *n } else { 0 });
        }
        if self.shutter {
            text.field(i64::from(t.is_some_and(|t| self.is_triggered(t))));
        }
        if self.frame {
            match t.and_then(|t| self.exposed(t)) {
                Some(frame) => text.field(frame),
                None => text.byte(b','),
            }
        }
        if self.lead.is_some() {
            text.field(1);
        }
        text.byte(b'\n');
    }
}

/// Pieces of work in the order of their rows.
#[derive(Debug)]
struct Batch {
    pieces: Vec<Piece>,
    used: usize,
    rows: u64,
}

impl Batch {
    fn new(pieces: usize) -> Batch {
        Batch { pieces: (0..pieces).map(|_| Piece::default()).collect(), used: 0, rows: 0 }
    }

    fn write<W: Write + ?Sized>(&mut self, out: &mut W) -> Result<(), RowsError> {
        for piece in self.pieces.iter_mut().take(self.used) {
            if let Some(error) = piece.done.take() {
                return Err(error);
            }
            out.write_all(piece.text.bytes())?;
        }
        Ok(())
    }
}
