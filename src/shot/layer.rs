//! What drives a channel: keyed tracks, cycles, drifts.
//!
//! Invariant: keys of a track stand in strictly rising order of frame, keys of a beat in rising order within 0..1; every number is in its bounds.
//! What each layer means as a curve is the business of `signal`.

use super::routine::Call;
use crate::bounds::{self, Bound, Code, Flaw, MOST_KEYS, with_unit};
use crate::stage::ChannelId;

/// Where something was written: for messages long after reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Place {
    /// Index of the file in the list of sources; 0 where built in code.
    pub file: u32,
    /// Line, from 1; 0 where built in code.
    pub line: u32,
    /// Column, from 1; 0 where built in code.
    pub column: u32,
}

/// A value that a channel has at a frame. Keys are equal wherever they were written.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Key {
    /// Frame time.
    pub frame: f64,
    /// Value, in the channel's unit (or a factor, for amounts and rates).
    pub value: f64,
    /// Where it was written.
    pub place: Place,
}

impl PartialEq for Key {
    fn eq(&self, other: &Key) -> bool {
        self.frame == other.frame && self.value == other.value
    }
}

impl Key {
    /// A key made in code.
    #[must_use]
    pub(crate) fn new(frame: f64, value: f64) -> Self {
        Key { frame, value, place: Place::default() }
    }
}

/// The curve through the keys of a track. The guide `curves.md` describes each.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum Shape {
    /// Quintic spline, C4, at rest at both ends.
    #[default]
    MinimumJerk,
    /// Quintic between neighbours that never leaves the range of its two keys.
    Monotone,
    /// Natural cubic spline, C2, straight on beyond its ends.
    NaturalCubic,
    /// Rest-to-rest quintic between neighbours.
    StopAtKeys,
    /// Straight lines with blended corners.
    Linear,
    /// Half cosines with blended corners.
    Cosine,
    /// Catmull-Rom cubics with blended corners.
    CatmullRom,
}

impl Shape {
    /// Every shape with its name in files.
    pub const ALL: [(&'static str, Shape); 7] = [
        ("minimum_jerk", Shape::MinimumJerk),
        ("monotone", Shape::Monotone),
        ("natural_cubic", Shape::NaturalCubic),
        ("stop_at_keys", Shape::StopAtKeys),
        ("linear", Shape::Linear),
        ("cosine", Shape::Cosine),
        ("catmull_rom", Shape::CatmullRom),
    ];

    /// Name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        Shape::ALL.iter().find(|(_, s)| *s == self).map_or("", |(n, _)| n)
    }

    /// True for the shapes whose corners at the keys are blended.
    #[must_use]
    pub(crate) fn is_blended(self) -> bool {
        matches!(self, Shape::Linear | Shape::Cosine | Shape::CatmullRom)
    }
}

/// Half-width in frames of a blended corner where the track does not give `blend`; never more than half of the way to a neighbour.
pub(crate) const DEFAULT_BLEND: f64 = 1.0;

/// Keys of one channel and the shape of the curve through them.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Track {
    channel: ChannelId,
    shape: Shape,
    blend: Option<f64>,
    keys: Vec<Key>,
    call: Call,
}

impl Track {
    /// Checks a track. `blend` (frames to either side of a key) belongs to blended shapes only.
    ///
    /// # Errors
    /// Every flaw: no key, keys out of order or two on one frame, numbers out of range, a blend that does not fit.
    pub(crate) fn new(channel: ChannelId, shape: Shape, blend: Option<f64>, keys: Vec<Key>) -> Result<Track, Vec<Flaw>> {
        let mut flaws = check_keys("keys", &keys, bounds::POSITION);
        if let Some(b) = blend {
            if !shape.is_blended() {
                flaws.push(
                    Flaw::new(Code::KeyDoesNotApply, "blend", format!("a `{}` track has no corners to blend", shape.name()))
                        .found(format!("blend = {b}"), "`blend` with the shapes linear, cosine and catmull_rom only")
                        .help("remove `blend`, or choose one of those shapes"),
                );
            } else if let Err(flaw) = bounds::BLEND.check("blend", b) {
                flaws.push(flaw);
            } else if matches!(shape, Shape::Linear | Shape::CatmullRom) && b == 0.0 {
                flaws.push(
                    Flaw::new(
                        Code::CornerWithoutBlend,
                        "blend",
                        format!("a `{}` track without blending would change speed instantly", shape.name()),
                    )
                    .found("blend = 0", "more than 0 frames")
                    .help("no motor can follow a sharp corner; write the number of frames on each side over which to round it"),
                );
            } else {
                flaws.extend(too_close(&keys, b));
            }
        }
        if flaws.is_empty() { Ok(Track { channel, shape, blend, keys, call: Call::default() }) } else { Err(flaws) }
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

    /// The curve's shape.
    #[must_use]
    pub(crate) fn shape(&self) -> Shape {
        self.shape
    }

    /// Half-width of blended corners in frames, where given.
    #[must_use]
    pub(crate) fn blend(&self) -> Option<f64> {
        self.blend
    }

    /// Keys in rising order of frame, at least one.
    #[must_use]
    pub(crate) fn keys(&self) -> &[Key] {
        &self.keys
    }

    /// The same track with another shape (blended shapes at the default blend).
    ///
    /// # Errors
    /// As [`Track::new`].
    pub(crate) fn with_shape(&self, shape: Shape) -> Result<Track, Vec<Flaw>> {
        self.again(shape, None, self.keys.clone())
    }

    /// The same track with another value of key `index`.
    ///
    /// # Errors
    /// As [`Track::new`].
    pub(crate) fn with_key_value(&self, index: usize, value: f64) -> Result<Track, Vec<Flaw>> {
        let mut keys = self.keys.clone();
        if let Some(key) = keys.get_mut(index) {
            key.value = value;
        }
        self.again(self.shape, self.blend, keys)
    }

    /// The same track with key `index` at another frame.
    ///
    /// # Errors
    /// As [`Track::new`]: the key must stay between its neighbours.
    pub(crate) fn with_key_at(&self, index: usize, frame: f64) -> Result<Track, Vec<Flaw>> {
        let mut keys = self.keys.clone();
        if let Some(key) = keys.get_mut(index) {
            key.frame = frame;
        }
        self.again(self.shape, self.blend, keys)
    }

    /// The same track with key `index` at another frame, with another value.
    ///
    /// # Errors
    /// As [`Track::new`]: the key must stay between its neighbours.
    pub(crate) fn with_key(&self, index: usize, frame: f64, value: f64) -> Result<Track, Vec<Flaw>> {
        let mut keys = self.keys.clone();
        if let Some(key) = keys.get_mut(index) {
            (key.frame, key.value) = (frame, value);
        }
        self.again(self.shape, self.blend, keys)
    }

    /// A track of the same channel, called alike.
    fn again(&self, shape: Shape, blend: Option<f64>, keys: Vec<Key>) -> Result<Track, Vec<Flaw>> {
        Ok(Track { call: self.call, ..Track::new(self.channel, shape, blend, keys)? })
    }
}

/// A beat that repeats: a periodic cubic spline times an amount, its phase running at a rate.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Cycle {
    channel: ChannelId,
    period: f64,
    phase: f64,
    keys: Vec<Key>,
    amount: Vec<Key>,
    rate: Vec<Key>,
    call: Call,
}

impl Cycle {
    /// Checks a cycle. `period` in frames, `phase` in beats at the first frame, `keys` with `frame` meaning the beat 0..1,
    /// `amount` and `rate` factors at frames; empty lists mean 1 throughout.
    ///
    /// # Errors
    /// Every flaw.
    pub(crate) fn new(
        channel: ChannelId,
        period: f64,
        phase: f64,
        keys: Vec<Key>,
        amount: Vec<Key>,
        rate: Vec<Key>,
    ) -> Result<Cycle, Vec<Flaw>> {
        let mut flaws = Vec::new();
        flaws.extend(bounds::PERIOD.check("period", period).err());
        flaws.extend(bounds::PHASE.check("phase", phase).err());
        flaws.extend(check_keys("keys", &keys, bounds::POSITION));
        for (i, key) in keys.iter().enumerate() {
            flaws.extend(bounds::BEAT.check("keys", key.frame).err().map(|f| f.at_index(i)));
        }
        if let (Some(first), Some(last)) = (keys.first(), keys.last())
            && last.frame - first.frame >= 1.0
        {
            flaws.push(
                Flaw::new(Code::BeatTooLong, "keys", "a key at beat 1 repeats the key at beat 0")
                    .found(
                        format!("keys at beat {} and at beat {}", first.frame, last.frame),
                        "less than one beat between first and last key",
                    )
                    .at_index(keys.len() - 1)
                    .help("remove the last key: the curve returns to the first by itself"),
            );
        }
        if !amount.is_empty() {
            flaws.extend(check_keys("amount", &amount, bounds::FACTOR));
        }
        if !rate.is_empty() {
            flaws.extend(check_keys("rate", &rate, bounds::BEAT_RATE));
        }
        if flaws.is_empty() { Ok(Cycle { channel, period, phase, keys, amount, rate, call: Call::default() }) } else { Err(flaws) }
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

    /// Frames of one beat at rate 1.
    #[must_use]
    pub(crate) fn period(&self) -> f64 {
        self.period
    }

    /// Beats at the first photographed frame.
    #[must_use]
    pub(crate) fn phase(&self) -> f64 {
        self.phase
    }

    /// Values over the beat: `frame` is the place within it.
    #[must_use]
    pub(crate) fn keys(&self) -> &[Key] {
        &self.keys
    }

    /// Factor on the value; empty: 1.
    #[must_use]
    pub(crate) fn amount(&self) -> &[Key] {
        &self.amount
    }

    /// Factor on the beat's speed; empty: 1.
    #[must_use]
    pub(crate) fn rate(&self) -> &[Key] {
        &self.rate
    }
}

/// Slow wandering from a seed.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Drift {
    channel: ChannelId,
    seed: u64,
    amplitude: f64,
    period: f64,
    call: Call,
}

impl Drift {
    /// Checks a drift: it never goes further than `amplitude` from 0; `period` in frames is its typical length.
    ///
    /// # Errors
    /// Every flaw.
    pub(crate) fn new(channel: ChannelId, seed: i64, amplitude: f64, period: f64) -> Result<Drift, Vec<Flaw>> {
        let mut flaws = Vec::new();
        flaws.extend(bounds::SEED.check("seed", seed).err());
        let checked = u64::try_from(seed).ok();
        flaws.extend(bounds::POSITION.check("amplitude", amplitude).err());
        flaws.extend(bounds::PERIOD.check("period", period).err());
        match (checked, flaws.is_empty()) {
            (Some(seed), true) => Ok(Drift { channel, seed, amplitude, period, call: Call::default() }),
            _ => Err(flaws),
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

    /// Seed of the generator.
    #[must_use]
    pub(crate) fn seed(&self) -> u64 {
        self.seed
    }

    /// Furthest from 0, in the channel's unit.
    #[must_use]
    pub(crate) fn amplitude(&self) -> f64 {
        self.amplitude
    }

    /// Typical length in frames.
    #[must_use]
    pub(crate) fn period(&self) -> f64 {
        self.period
    }
}

pub(super) fn check_keys(field: &str, keys: &[Key], values: Bound) -> Vec<Flaw> {
    let mut flaws = Vec::new();
    if keys.is_empty() || keys.len() > MOST_KEYS {
        let flaw = if keys.is_empty() {
            Flaw::new(Code::NoKeys, field, format!("`{field}` has no key")).help("write keys as [[frame, value], ...]")
        } else {
            Flaw::new(Code::TooMany, field, format!("`{field}` has too many keys"))
        };
        flaws.push(flaw.found(format!("{} keys", keys.len()), format!("1 to {MOST_KEYS} keys")));
    }
    let mut last: Option<f64> = None;
    for (i, key) in keys.iter().enumerate() {
        let frame = bounds::FRAME.check(field, key.frame).err().map(|f| f.at_index(i));
        let bad_frame = frame.is_some();
        flaws.extend(frame);
        flaws.extend(values.check(field, key.value).err().map(|f| f.at_index(i)));
        if let Some(before) = last
            && !bad_frame
            && !(before < key.frame)
        {
            let what = if key.frame == before { "two keys share a frame" } else { "keys are out of order" };
            flaws.push(
                Flaw::new(Code::KeysOutOfOrder, field, what)
                    .found(format!("frame {} after frame {before}", key.frame), "strictly rising frames")
                    .at_index(i),
            );
        }
        if !bad_frame {
            last = Some(key.frame);
        }
    }
    flaws
}

/// Corners that would overlap: two blends need the way between their keys.
fn too_close(keys: &[Key], blend: f64) -> Option<Flaw> {
    let pairs = keys.iter().zip(keys.iter().skip(1)).enumerate();
    let mut worst: Option<(usize, f64, &Key, &Key)> = None;
    for (i, (a, b)) in pairs {
        let gap = b.frame - a.frame;
        if gap < 2.0 * blend && worst.is_none_or(|(_, g, _, _)| gap < g) {
            worst = Some((i + 1, gap, a, b));
        }
    }
    worst.map(|(i, _, a, b)| corners_overlap("blend", blend, [a, b], &format!("key {} of the track", i + 1)))
}

/// The flaw that corners of this half-width, the value of `field`, do not fit between two keys, of which `which` says where they are.
pub(super) fn corners_overlap(field: &str, half: f64, [a, b]: [&Key; 2], which: &str) -> Flaw {
    let gap = b.frame - a.frame;
    Flaw::new(Code::CornersOverlap, field, "corners overlap")
        .found(
            format!(
                "{} on each side of a key; the keys at frames {} and {} are {} apart",
                with_unit(half, "frames"),
                a.frame,
                b.frame,
                with_unit(gap, "frames")
            ),
            format!("at most half the distance between neighbouring keys: {}", with_unit(gap / 2.0, "frames")),
        )
        .help(format!("write {field} = {} or less ({which})", gap / 2.0))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn track(shape: Shape, blend: Option<f64>, keys: &[(f64, f64)]) -> Result<Track, Vec<Flaw>> {
        Track::new(ChannelId::of_no_stage(), shape, blend, keys.iter().map(|(f, v)| Key::new(*f, *v)).collect())
    }

    #[test]
    fn keys_out_of_order_on_one_frame_or_not_numbers_are_each_told() {
        let flaws = track(Shape::Monotone, None, &[(5.0, 0.0), (3.0, 1.0), (3.0, f64::NAN), (f64::INFINITY, 0.0)]).unwrap_err();
        let told: Vec<_> = flaws.iter().map(|f| (f.code.slug(), f.index)).collect();
        assert_eq!(
            told,
            [("keys-out-of-order", Some(1)), ("out-of-range", Some(2)), ("keys-out-of-order", Some(2)), ("out-of-range", Some(3))]
        );
    }

    #[test]
    fn a_blend_must_fit_and_belong() {
        assert!(track(Shape::Linear, Some(2.0), &[(0.0, 0.0), (4.0, 1.0)]).is_ok());
        assert_eq!(track(Shape::Linear, Some(2.1), &[(0.0, 0.0), (4.0, 1.0)]).unwrap_err().first().unwrap().code, "corners-overlap");
        assert_eq!(track(Shape::Linear, Some(0.0), &[(0.0, 0.0)]).unwrap_err().first().unwrap().code, "corner-without-blend");
        assert_eq!(track(Shape::Monotone, Some(1.0), &[(0.0, 0.0)]).unwrap_err().first().unwrap().code, "key-does-not-apply");
        assert!(track(Shape::Cosine, Some(f64::NAN), &[(0.0, 0.0)]).is_err());
    }

    #[test]
    fn a_beat_key_at_one_repeats_the_key_at_zero() {
        let keys = vec![Key::new(0.0, 1.0), Key::new(1.0, 1.0)];
        assert_eq!(
            Cycle::new(ChannelId::of_no_stage(), 30.0, 0.0, keys, vec![], vec![]).unwrap_err().first().unwrap().code,
            "beat-too-long"
        );
    }
}
