//! A recording: samples of one channel that the curve stays near instead of passing through.
//!
//! Units: frames, the channel's unit. Invariant: two or more samples in strictly rising order of frame, numbers in their bounds, a distance that rounding does not decide. The curve is worked out once, when it is
//! first asked for, and depends on the samples, the distance and the ends alone.

use std::sync::{Arc, OnceLock};

use super::layer::{Key, check_keys};
use super::routine::Call;
use crate::bounds::{self, Allowance, Code, Flaw, with_unit};
use crate::motion::stay_near::{self, CannotFit, Ends, Fit};
use crate::stage::ChannelId;

/// What a curve does at its ends, with its name in files.
pub(crate) const ENDS: [(&str, Ends); 2] = [("straight", Ends::Straight), ("rest", Ends::Rest)];

/// Smallest distance as a share of the largest sample: below it the sums of the fit lose the distance to rounding.
const FINEST: f64 = 1e-8;

/// Samples of one channel and how near the curve stays.
#[derive(Debug, Clone)]
pub(crate) struct Recording {
    channel: ChannelId,
    samples: Vec<Key>,
    within: f64,
    ends: Ends,
    call: Call,
    fit: Arc<OnceLock<Result<Fit, CannotFit>>>,
}

/// The same samples, distance, ends and call; whether the curve is known does not matter.
impl PartialEq for Recording {
    fn eq(&self, other: &Recording) -> bool {
        (self.channel, self.within, self.ends, self.call) == (other.channel, other.within, other.ends, other.call)
            && self.samples == other.samples
    }
}

impl Recording {
    /// Checks a recording. `within`: how far the curve may miss a sample, in the channel's unit.
    ///
    /// # Errors
    /// Every flaw: fewer than two samples, samples out of order or two on one frame, numbers out of range, a distance too small beside the samples.
    pub(crate) fn new(channel: ChannelId, samples: Vec<Key>, within: f64, ends: Ends) -> Result<Recording, Vec<Flaw>> {
        let mut flaws = check_keys("samples", &samples, bounds::POSITION);
        flaws.extend(bounds::WITHIN.check("within", within).err());
        if samples.len() == 1 {
            flaws.push(
                Flaw::new(Code::TooFewSamples, "samples", "a recording has one sample")
                    .found("1 sample", "2 samples or more")
                    .help("write a constant as `keys = [[frame, value]]`"),
            );
        }
        let largest = samples.iter().fold(0.0_f64, |m, s| m.max(s.value.abs()));
        if flaws.is_empty() && !(within >= FINEST * largest) {
            flaws.push(
                Flaw::new(Code::OutOfRange, "within", "`within` is too small beside the samples")
                    .found(
                        format!("within = {within} beside a sample of {largest}"),
                        format!("at least {FINEST:e} of the largest sample: {}", with_unit(FINEST * largest, "units")),
                    )
                    .help("allow a larger distance: no motor follows so closely"),
            );
        }
        if flaws.is_empty() {
            Ok(Recording { channel, samples, within, ends, call: Call::default(), fit: Arc::default() })
        } else {
            Err(flaws)
        }
    }

    /// What it drives.
    #[must_use]
    pub(crate) fn channel(&self) -> ChannelId {
        self.channel
    }

    /// How a routine calls it.
    #[must_use]
    pub(crate) fn call(&self) -> Call {
        self.call
    }

    /// The same, called by a routine as `call` says of its channel.
    #[must_use]
    pub(crate) fn called(self, call: impl Fn(ChannelId) -> Call) -> Self {
        Self { call: call(self.channel), ..self }
    }

    /// Samples in rising order of frame, at least two.
    #[must_use]
    pub(crate) fn samples(&self) -> &[Key] {
        &self.samples
    }

    /// How far the curve may miss a sample, in the channel's unit.
    #[must_use]
    pub(crate) fn within(&self) -> f64 {
        self.within
    }

    /// What the curve does at its ends.
    #[must_use]
    pub(crate) fn ends(&self) -> Ends {
        self.ends
    }

    /// True where the curve starts and stops at rest.
    #[must_use]
    pub(crate) fn rests(&self) -> bool {
        self.ends == Ends::Rest
    }

    /// The curve that stays near; its cost is taken from the allowance, also where it is known.
    ///
    /// # Errors
    /// [`CannotFit`] where rounding decides, or where it is more work than is allowed.
    pub(crate) fn fit(&self, allowance: &mut Allowance) -> Result<&Fit, CannotFit> {
        let (count, most) = (self.samples.len(), allowance.most(self.samples.len()));
        let found = if let Some(known) = self.fit.get() {
            known
        } else {
            let samples: Vec<(f64, f64)> = self.samples.iter().map(|s| (s.frame, s.value)).collect();
            let found = stay_near::fit(&samples, self.within, self.ends, most);
            if let Err(error @ CannotFit::TooCostly { .. }) = found {
                // With a larger budget there may be one.
                return Err(error);
            }
            self.fit.get_or_init(|| found)
        };
        let fit = found.as_ref().map_err(|e| *e)?;
        if fit.cost > most {
            return Err(CannotFit::TooCostly { samples: count, most });
        }
        allowance.take(count, fit.cost);
        Ok(fit)
    }

    /// The curve, where it was found already.
    pub(crate) fn known_fit(&self) -> Option<&Fit> {
        self.fit.get()?.as_ref().ok()
    }

    /// True where another recording is the same; its curve, where known, is then that of this one too.
    pub(crate) fn is_as(&self, other: &Recording) -> bool {
        let is_same = self == other;
        if let (true, Some(known)) = (is_same, other.fit.get()) {
            let _first = self.fit.get_or_init(|| known.clone());
        }
        is_same
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn codes(samples: &[(f64, f64)], within: f64) -> Vec<&'static str> {
        let samples = samples.iter().map(|(f, v)| Key::new(*f, *v)).collect();
        let made = Recording::new(ChannelId::of_no_stage(), samples, within, Ends::Straight);
        made.map_or_else(|flaws| flaws.iter().map(|f| f.code.slug()).collect(), |_| Vec::new())
    }

    #[test]
    fn too_few_unsorted_and_too_close_are_refused() {
        assert_eq!(codes(&[(1.0, 0.0), (2.0, 5.0)], 0.5), [""; 0]);
        assert_eq!(codes(&[(1.0, 0.0)], 0.5), ["too-few-samples"]);
        assert_eq!(codes(&[], 0.5), ["no-keys"]);
        assert_eq!(codes(&[(2.0, 0.0), (1.0, 0.0)], 0.5), ["keys-out-of-order"]);
        assert_eq!(codes(&[(1.0, 0.0), (2.0, 0.0)], f64::NAN), ["out-of-range"]);
        assert_eq!(codes(&[(1.0, 0.0), (2.0, 0.0)], 0.0), ["out-of-range"]);
        assert_eq!(codes(&[(1.0, 0.0), (2.0, 1e6)], 1e-3), ["out-of-range"]);
    }
}
