//! When the shutter opens on each frame of a held pass whose frames take only as long as each needs, as its table of moves states it.
//!
//! Invariant: one opening for each frame, each after the one before; whole microseconds. Limits: whether a frame rests long enough for what hangs is not looked at.

use super::table::{Table, millionths};

/// The openings of a pass, seconds since the end of the move to start.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Openings {
    opens: Vec<f64>,
    exposure: f64,
    /// Of a wedge when each of its exposures opens and closes.
    wedge: Vec<[f64; 2]>,
    /// Microseconds, from the same instant to the end.
    end: u64,
}

/// Two roundings up to whole microseconds.
const ROUNDED: f64 = 2.0;

impl Openings {
    /// Of a part of a pass: when the shutter opens, seconds of the program; `begin` is the end of the move to start, `duration` what is left from there to the end.
    ///
    /// # Errors
    /// What is none of this.
    pub(super) fn of(opens: &[f64], frames: usize, [begin, duration, exposure]: [f64; 3]) -> Result<Openings, String> {
        let opens: Vec<f64> = opens.iter().map(|t| t - begin).collect();
        let rising = opens.windows(2).all(|w| matches!(w, [a, b] if a + exposure <= *b)) && opens.first().is_some_and(|t| *t >= 0.0);
        if !rising {
            return Err("the manifest has openings of the part that do not come one after the exposure of the other".to_owned());
        }
        Openings::checked(opens, frames, duration, exposure)
    }

    /// Reads the table of moves of so many frames. `first` is when the shutter opens on the first of them, `begin` the end of the move to start, both in seconds of the program; `duration` what the manifest
    /// states.
    ///
    /// # Errors
    /// What of the table or the manifest is none of this.
    pub(super) fn read(table: &mut Table, frames: usize, [first, begin, duration, exposure]: [f64; 4]) -> Result<Openings, String> {
        let mut opens = vec![first - begin];
        table.line()?;
        while let Some(line) = table.line()? {
            let at = line.split(',').nth(4).and_then(millionths).map(|n| n as f64 / 1e6 - begin);
            match at {
                Some(at) if opens.last().is_some_and(|last| last + exposure <= at) => opens.push(at),
                _ => return Err(format!("`{line}` has no instant after the exposure before it")),
            }
            if opens.len() > frames {
                break;
            }
        }
        if !(first >= begin) {
            return Err(format!("the shutter first opens at {first} s, before the end of the move to start at {begin} s"));
        }
        Openings::checked(opens, frames, duration, exposure)
    }

    fn checked(opens: Vec<f64>, frames: usize, duration: f64, exposure: f64) -> Result<Openings, String> {
        let last = opens.last().copied().unwrap_or(0.0);
        let end = (duration * 1e6).round();
        if opens.len() != frames || !((last + exposure) * 1e6 <= end + ROUNDED && end <= (last + exposure) * 1e6 + ROUNDED) {
            return Err(format!(
                "{} frames open until {} s; the manifest has {frames} frames and {duration} s",
                opens.len(),
                last + exposure
            ));
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "above 0 and below 2^53: a duration that was compared")]
        Ok(Openings { opens, exposure, wedge: Vec::new(), end: end as u64 })
    }

    /// The same of a wedge, whose exposures, microseconds from the first opening, follow from its pass.
    pub(super) fn with_wedge(self, wedge: &[[u64; 2]]) -> Openings {
        let first = self.first();
        let wedge = wedge.iter().map(|exposure| exposure.map(|t| first + t as f64 / 1e6)).collect();
        Openings { wedge, ..self }
    }

    /// How many shutters have closed at `t`, and how long ago the last of them did.
    pub(super) fn closed(&self, t: f64) -> (usize, f64) {
        let closed = self.opens.partition_point(|opens| opens + self.exposure <= t);
        let since = closed.checked_sub(1).and_then(|i| self.opens.get(i)).map_or(t, |opens| t - opens - self.exposure);
        (closed, since)
    }

    /// True while a shutter is open; `None` within `near` seconds of the instant at which one opens or closes.
    pub(super) fn is_open(&self, t: f64, near: f64) -> Option<bool> {
        if !self.wedge.is_empty() {
            let is_edge = self.wedge.as_flattened().iter().any(|edge| (t - edge).abs() <= near);
            return (!is_edge).then(|| self.wedge.iter().any(|[opens, closes]| *opens <= t && t < *closes));
        }
        let opened = self.opens.partition_point(|opens| *opens <= t);
        let edges = [opened.checked_sub(1), Some(opened)].into_iter().flatten().filter_map(|i| self.opens.get(i));
        if edges.flat_map(|opens| [*opens, opens + self.exposure]).any(|edge| (t - edge).abs() <= near) {
            return None;
        }
        Some(opened > 0 && self.closed(t).0 < opened)
    }

    /// The first of them.
    pub(super) fn first(&self) -> f64 {
        self.opens.first().copied().unwrap_or(f64::NAN)
    }

    /// Microseconds from the end of the move to start to the end.
    pub(super) fn end_micros(&self) -> u64 {
        self.end
    }
}
