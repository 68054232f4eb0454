//! Retime: which moment of the choreography is on film at a frame, for some groups or for all.
//!
//! Invariant: film frames rise strictly, choreography frames never fall, and no part runs faster than [`bounds::RETIME_RATE`] allows; every corner has room
//! on both sides of its key. What a retime means as a function is the business of `signal`.

use super::layer::{Key, check_keys, corners_overlap};
use crate::bounds::{self, Code, Flaw, MOST_RETIME_KEYS, with_unit};
use crate::stage::GroupId;

/// Frames on each side of an inner key over which a corner is rounded where `ease` is left out; never more than half of the way to a neighbour.
pub(crate) const DEFAULT_EASE: f64 = 4.0;

/// How film time becomes choreography time.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Course {
    /// The choreography runs this many frames later.
    Later(f64),
    /// Keys: film frame, and choreography frame as the value; and half the width of the rounded corners, where given.
    Keyed(Vec<Key>, Option<f64>),
}

/// A checked retime. Its groups are sorted, each once.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Retime {
    groups: Option<Vec<GroupId>>,
    course: Course,
}

impl Retime {
    /// Checks a retime of these groups, or of every group.
    ///
    /// # Errors
    /// Every flaw: numbers out of range, fewer than two keys, keys out of order or running backwards, a corner without room.
    pub(crate) fn new(groups: Option<Vec<GroupId>>, course: Course) -> Result<Retime, Vec<Flaw>> {
        let flaws = match &course {
            Course::Later(delay) => bounds::DELAY.check("delay", *delay).err().into_iter().collect(),
            Course::Keyed(keys, ease) => check(keys, *ease),
        };
        let groups = groups.map(|mut all| {
            all.sort_unstable();
            all.dedup();
            all
        });
        if flaws.is_empty() { Ok(Retime { groups, course }) } else { Err(flaws) }
    }

    /// The groups it concerns; `None` for all.
    #[must_use]
    pub(crate) fn groups(&self) -> Option<&[GroupId]> {
        self.groups.as_deref()
    }

    /// True for a group that it concerns.
    #[must_use]
    pub(crate) fn concerns(&self, group: GroupId) -> bool {
        self.groups.as_ref().is_none_or(|all| all.binary_search(&group).is_ok())
    }

    /// What it does.
    #[must_use]
    pub(crate) fn course(&self) -> &Course {
        &self.course
    }
}

fn check(keys: &[Key], ease: Option<f64>) -> Vec<Flaw> {
    let mut flaws = check_keys("keys", keys, bounds::FRAME);
    if keys.len() > MOST_RETIME_KEYS {
        let flaw = Flaw::new(Code::TooMany, "keys", "a retime has too many keys");
        return vec![flaw.found(format!("{} keys", keys.len()), format!("at most {MOST_RETIME_KEYS} keys"))];
    }
    if keys.len() == 1 {
        let flaw = Flaw::new(Code::WrongCount, "keys", "a retime needs two keys").found("1 key", "2 keys or more");
        flaws.push(flaw.help("add a key; to move everything by some frames write `delay` instead of `keys`"));
    }
    for (i, (a, b)) in keys.iter().zip(keys.iter().skip(1)).enumerate() {
        if a.value > b.value {
            let flaw = Flaw::new(Code::TimeRunsBackwards, "keys", "a retime runs backwards").at_index(i + 1);
            let found = format!("choreography frame {} after choreography frame {}", b.value, a.value);
            flaws.push(
                flaw.found(found, "choreography frames that never decrease")
                    .help("use two equal choreography frames to hold, and larger ones to go on"),
            );
        }
        let rate = (b.value - a.value) / (b.frame - a.frame);
        if a.frame < b.frame && rate > bounds::RETIME_RATE.most {
            let title = format!("a retime runs {rate:.0} times as fast as the film");
            let found = format!("{} choreography frames within {}", b.value - a.value, with_unit(b.frame - a.frame, "frames"));
            let flaw = Flaw::new(Code::OutOfRange, "keys", title).at_index(i + 1);
            let allowed = format!("at most {} times as fast", bounds::RETIME_RATE.most);
            flaws.push(flaw.found(found, allowed).help("check this key and the one before it for a digit too many or too few"));
        }
    }
    if let Some(ease) = ease {
        match bounds::EASE.check("ease", ease) {
            Err(flaw) => flaws.push(flaw),
            Ok(ease) => flaws.extend(without_room(keys, ease)),
        }
    }
    flaws
}

/// The corner with the least room, where it has too little.
fn without_room(keys: &[Key], ease: f64) -> Option<Flaw> {
    let inner = 1..keys.len().saturating_sub(1);
    let gaps = keys.iter().zip(keys.iter().skip(1)).enumerate().map(|(i, (a, b))| (i, b.frame - a.frame, a, b));
    let beside_a_corner = gaps.filter(|(i, ..)| inner.contains(i) || inner.contains(&(i + 1)));
    let (i, gap, a, b) = beside_a_corner.reduce(|least, next| if next.1 < least.1 { next } else { least })?;
    if ease <= 0.5 * gap {
        return None;
    }
    Some(corners_overlap("ease", ease, [a, b], &format!("key {} of the retime", i + 2)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(keys: &[(f64, f64)], ease: Option<f64>) -> Vec<(&'static str, Option<usize>)> {
        let keys = keys.iter().map(|(f, v)| Key::new(*f, *v)).collect();
        let flaws = Retime::new(None, Course::Keyed(keys, ease)).err().unwrap_or_default();
        flaws.iter().map(|f| (f.code(), f.index)).collect()
    }

    #[test]
    fn each_slip_has_a_flaw_of_its_own() {
        let hold = [(1.0, 1.0), (100.0, 100.0), (112.0, 100.0), (348.0, 336.0)];
        assert_eq!(told(&hold, None), []);
        assert_eq!(told(&hold, Some(6.0)), []);
        assert_eq!(told(&hold, Some(6.1)), [("corners-overlap", None)]);
        assert_eq!(told(&hold, Some(0.0)), [("out-of-range", None)]);
        assert_eq!(told(&hold, Some(f64::NAN)), [("out-of-range", None)]);
        assert_eq!(told(&hold[..1], None), [("wrong-count", None)]);
        assert_eq!(told(&[(1.0, 1.0), (100.0, 10.0), (112.0, 9.0)], None), [("time-runs-backwards", Some(2))]);
        assert_eq!(told(&[(1.0, 1.0), (2.0, 1002.0)], None), [("out-of-range", Some(1))]);
        assert_eq!(told(&[(1.0, 1.0), (1.0, 2.0)], None), [("keys-out-of-order", Some(1))]);
        assert_eq!(told(&[(1.0, 1.0), (2.0, f64::NAN)], None), [("out-of-range", Some(1))]);
    }

    #[test]
    fn two_keys_have_no_corner_so_any_ease_has_room() {
        assert_eq!(told(&[(1.0, 1.0), (2.0, 2.0)], Some(40.0)), []);
    }
}
