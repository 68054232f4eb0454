//! Drives: directions in which all markers move together, by the singular value decomposition of the rows about their mean.
//!
//! What: n drives with the least sum of squares left over (C. Eckart, G. Young, Psychometrika 1 (1936) 211). The triangle of a QR decomposition, taken block by block, has the same singular values as all
//! rows, so memory is that of the rows. Invariant: directions have length one, the largest component positive; residuals are measured on the rows themselves.

use nalgebra::{DMatrix, DVector, RowDVector};

use crate::bounds::{Code, Flaw};
use crate::number::whole;

/// Rows that are decomposed at once.
const BLOCK: usize = 512;

/// Steps that the matrix library may take.
const MOST_STEPS: usize = 100_000;

/// Directions, and where each drive is in each row.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Drives {
    /// Mean of each coordinate.
    pub(crate) mean: Vec<f64>,
    /// A column for each drive: its direction over all coordinates.
    pub(crate) directions: DMatrix<f64>,
    /// A column for each drive: its position in each row, mm.
    pub(crate) positions: DMatrix<f64>,
}

/// What is left with some drives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Residual {
    /// Drives.
    pub(crate) n: usize,
    /// Root of the mean square over all coordinates of all markers, mm.
    pub(crate) rms: f64,
    /// Farthest that a marker is off, mm.
    pub(crate) worst: f64,
}

/// What one drive does to one marker.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Reach {
    /// Index of the marker.
    pub(crate) marker: usize,
    /// Direction, of length one.
    pub(crate) direction: Vec<f64>,
    /// From one end of the drive to the other, mm.
    pub(crate) travel: f64,
}

impl Drives {
    /// Decomposes rows of `width` coordinates.
    ///
    /// # Errors
    /// Numbers on which the decomposition does not end.
    pub(crate) fn of(rows: &[f64], width: usize) -> Result<Drives, Flaw> {
        let count = rows.len() / width.max(1);
        let mut all = DMatrix::from_row_slice(count, width, rows);
        let mean = all.row_mean();
        all.row_iter_mut().for_each(|mut row| row -= &mean);
        let triangle = triangle(&all);
        let svd = triangle.try_svd(false, true, f64::EPSILON, MOST_STEPS);
        let Some(v_t) = svd.and_then(|svd| svd.v_t) else {
            return Err(Flaw::new(Code::NotANumber, "", "the decomposition of the recording does not end")
                .help("check the positions: some are out of all proportion"));
        };
        let kept = width.min(count.saturating_sub(1)).min(v_t.nrows());
        let mut directions = v_t.rows(0, kept).transpose();
        for mut direction in directions.column_iter_mut() {
            let largest = direction.iter().copied().fold(0.0, |m: f64, x| if x.abs() > m.abs() { x } else { m });
            if largest < 0.0 {
                direction.neg_mut();
            }
        }
        let positions = &all * &directions;
        Ok(Drives { mean: mean.iter().copied().collect(), directions, positions })
    }

    /// How many there are.
    pub(crate) fn count(&self) -> usize {
        self.directions.ncols()
    }

    /// Position of a drive in a row, mm.
    pub(crate) fn at(&self, row: usize, drive: usize) -> f64 {
        self.positions.get((row, drive)).copied().unwrap_or(f64::NAN)
    }

    /// How far a marker goes for each mm of a drive, rounded to a billionth.
    pub(crate) fn share(&self, drive: usize, marker: usize, dimensions: usize) -> Vec<f64> {
        const BILLION: f64 = 1e9;
        let of = self.directions.column(drive);
        let part = of.iter().skip(marker * dimensions).take(dimensions);
        part.map(|x| (x * BILLION).round() / BILLION).collect()
    }

    /// Root of the mean square of a drive's position, mm.
    pub(crate) fn rms(&self, drive: usize) -> f64 {
        let column = self.positions.column(drive);
        (column.norm_squared() / whole::count(column.len().max(1))).sqrt()
    }

    /// What is left of `rows` with one drive, two, and so on.
    pub(crate) fn residuals(&self, rows: &[f64], dimensions: usize) -> Vec<Residual> {
        let (count, width) = (self.positions.nrows(), self.mean.len());
        let mut squares = vec![0.0_f64; self.count()];
        let mut worst = vec![0.0_f64; self.count()];
        let mean = RowDVector::from_row_slice(&self.mean).transpose();
        for (i, row) in rows.chunks(width.max(1)).enumerate() {
            let mut left: DVector<f64> = DVector::from_column_slice(row) - &mean;
            for (n, (sum, far)) in squares.iter_mut().zip(&mut worst).enumerate() {
                left.axpy(-self.at(i, n), &self.directions.column(n), 1.0);
                *sum += left.norm_squared();
                let markers = left.as_slice().chunks(dimensions.max(1));
                *far = markers.map(|m| m.iter().map(|x| x * x).sum::<f64>()).fold(*far, f64::max);
            }
        }
        let all = whole::count((count * width).max(1));
        let of = |(n, (sum, far)): (usize, (&f64, &f64))| Residual { n: n + 1, rms: (sum / all).sqrt(), worst: far.sqrt() };
        squares.iter().zip(&worst).enumerate().map(of).collect()
    }

    /// All coordinates where the drives stand so.
    pub(crate) fn rebuilt(&self, positions: &[f64]) -> Vec<f64> {
        let mut all = self.mean.clone();
        for (drive, position) in positions.iter().enumerate().take(self.count()) {
            for (x, share) in all.iter_mut().zip(self.directions.column(drive).iter()) {
                *x += position * share;
            }
        }
        all
    }

    /// Least and greatest position of a drive, mm.
    pub(crate) fn range(&self, drive: usize) -> [f64; 2] {
        let column = self.positions.column(drive);
        [column.iter().copied().fold(f64::INFINITY, f64::min), column.iter().copied().fold(f64::NEG_INFINITY, f64::max)]
    }

    /// What a drive does to the markers, the farthest first.
    pub(crate) fn reaches(&self, drive: usize, dimensions: usize) -> Vec<Reach> {
        let [low, high] = self.range(drive);
        let direction: Vec<f64> = self.directions.column(drive).iter().copied().collect();
        let of = |(marker, part): (usize, &[f64])| {
            let length = part.iter().map(|x| x * x).sum::<f64>().sqrt();
            let direction = part.iter().map(|x| if length > 0.0 { x / length } else { 0.0 }).collect();
            Reach { marker, direction, travel: length * (high - low) }
        };
        let mut reaches: Vec<Reach> = direction.chunks(dimensions.max(1)).enumerate().map(of).collect();
        reaches.sort_by(|a, b| b.travel.total_cmp(&a.travel));
        reaches
    }
}

/// The triangle with the singular values of all rows.
fn triangle(all: &DMatrix<f64>) -> DMatrix<f64> {
    let (count, width) = all.shape();
    let block = BLOCK.max(width);
    let mut triangle = DMatrix::zeros(0, width);
    let mut from = 0;
    while from < count {
        let taken = block.min(count - from);
        let above = triangle.nrows();
        let mut stacked = DMatrix::zeros(above + taken, width);
        stacked.rows_mut(0, above).copy_from(&triangle);
        stacked.rows_mut(above, taken).copy_from(&all.rows(from, taken));
        triangle = stacked.qr().r();
        from += taken;
    }
    triangle
}
