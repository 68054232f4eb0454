//! Limbs: the parts of a figure that turn about a pivot, one on the other, and what stands on them.
//!
//! What: a limb sits at its pivot in the axes of its parent - another limb, or the figure's body - and turns about an axis by its channel; where the channel is 0 its axes are those of
//! the parent. So pose = pose of the parent, shifted by the pivot, turned: one joint more on the chain. Invariant: the limbs of a body come parents first, none is its own ancestor, and
//! every place that a line or a proxy names exists. Units: mm, deg. Limits: rigid; a limb that several channels turn is several limbs.

use super::name::check_name;
use crate::bounds::{Code, Flaw, MOST_LIMBS};
use crate::mechanism::joint::JointKind;
use crate::mechanism::{Chain, JointSpec, Pose, Real, Vector};

/// The word for the figure's body where a place is named.
pub(crate) const BODY: &str = "body";

/// What a limb is made from; units as in the stage file.
#[derive(Debug, Clone, PartialEq)]
pub struct LimbSpec {
    /// Its name within the group.
    pub name: String,
    /// The limb that carries it; `None` for one on the body.
    pub parent: Option<String>,
    /// Where it turns, in the axes of the parent, mm.
    pub pivot: [f64; 3],
    /// About what it turns, right-handed; the direction's length does not count.
    pub turn: [f64; 3],
    /// Full name of the channel that turns it, deg.
    pub channel: String,
}

/// A checked limb.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Limb {
    pub(super) name: String,
    pub(super) parent: Option<usize>,
    /// One joint, whose channel is 0 here.
    pub(super) joint: Chain,
    /// Which of the body's channels turns it.
    pub(super) channel: usize,
}

impl Limb {
    /// Its name within the group.
    #[must_use]
    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    /// The limb that carries it, which comes before it; `None` for one on the body.
    #[must_use]
    pub(crate) fn parent(&self) -> Option<usize> {
        self.parent
    }

    /// Its one joint, for whoever works out poses in a way of their own.
    #[must_use]
    pub(crate) fn joint(&self) -> &Chain {
        &self.joint
    }

    /// Which of [`Body::every_channel`](super::Body::every_channel) turns it.
    #[must_use]
    pub(crate) fn channel(&self) -> usize {
        self.channel
    }

    /// Where a point of it is in its parent, with its channel at this value.
    #[must_use]
    pub(crate) fn out<T: Real>(&self, value: T, point: Vector<T>) -> Vector<T> {
        self.joint.out(|_| value, point)
    }

    /// Its pose on a parent that stands so, with its channel at this value.
    #[must_use]
    pub(crate) fn pose_on<T: Real>(&self, parent: Pose<T>, value: T) -> Pose<T> {
        self.joint.pose_on(parent, |_| value)
    }
}

/// Something of a figure that other things are fixed to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Place {
    /// The end of its chain.
    Body,
    /// After the joint of this number.
    Joint(usize),
    /// A limb, by its number.
    Limb(usize),
    /// The stage itself, whose points do not move.
    Stage,
}

impl Place {
    /// A limb by its number, or the body.
    #[must_use]
    pub(crate) fn of(limb: Option<usize>) -> Place {
        limb.map_or(Place::Body, Place::Limb)
    }

    /// The number of the limb, where it is one.
    #[must_use]
    pub(crate) fn limb(self) -> Option<usize> {
        if let Place::Limb(number) = self { Some(number) } else { None }
    }
}

/// A point that is fixed to a place, in the axes of that place. Unit: mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Hold {
    /// What it is fixed to.
    pub place: Place,
    /// Where on it.
    pub at: Vector,
}

/// A figure at an instant: every place that something is fixed to.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Posture<T = f64> {
    pub(super) body: Pose<T>,
    pub(super) limbs: Vec<Pose<T>>,
    pub(super) joints: Vec<(usize, Pose<T>)>,
}

impl<T: Real> Posture<T> {
    /// The end of the chain.
    #[must_use]
    pub(crate) fn body(&self) -> &Pose<T> {
        &self.body
    }

    /// A limb's pose; the body's where there is no such limb.
    #[must_use]
    pub(crate) fn limb(&self, number: usize) -> &Pose<T> {
        self.limbs.get(number).unwrap_or(&self.body)
    }

    /// Where a fixed point is, in the stage's axes.
    #[must_use]
    pub(crate) fn out(&self, hold: &Hold) -> Vector<T> {
        match hold.place {
            Place::Body => self.body.out_fixed(hold.at),
            Place::Limb(number) => self.limb(number).out_fixed(hold.at),
            Place::Joint(number) => self.joints.iter().find(|(n, _)| *n == number).map_or(&self.body, |(_, pose)| pose).out_fixed(hold.at),
            Place::Stage => Vector::constant(hold.at),
        }
    }
}

/// The limbs of a body, parents first, their channels numbered by `channel`.
///
/// # Errors
/// Every flaw, with the limb's place in the list as its index.
pub(crate) fn limbs(specs: &[LimbSpec], mut channel: impl FnMut(&str) -> usize) -> Result<Vec<Limb>, Vec<Flaw>> {
    let mut flaws = Vec::new();
    if specs.len() > MOST_LIMBS {
        let flaw = Flaw::new(Code::TooMany, "limb", "the figure has too many limbs");
        return Err(vec![flaw.found(format!("{} limbs", specs.len()), format!("at most {MOST_LIMBS}"))]);
    }
    let number_of = |name: &str| specs.iter().position(|s| s.name == name);
    let mut joints = Vec::with_capacity(specs.len());
    for (i, spec) in specs.iter().enumerate() {
        let mut add = |flaw: Flaw| flaws.push(flaw.at_index(i));
        if let Err(flaw) = check_name("name", &spec.name) {
            add(flaw);
        } else if spec.name == BODY {
            let flaw = Flaw::new(Code::DuplicateName, "name", "a limb is called `body`");
            add(flaw.found("\"body\"", "a unique name").help("`body` is the end of the figure's chain: give the limb another name"));
        } else if number_of(&spec.name) != Some(i) {
            let flaw = Flaw::new(Code::DuplicateName, "name", format!("two limbs are called `{}`", spec.name));
            add(flaw.found(format!("\"{}\" twice", spec.name), "a unique name").help("give each limb of a figure a unique name"));
        }
        if let Some(parent) = spec.parent.as_deref().filter(|p| *p != BODY && number_of(p).is_none()) {
            add(unknown_limb("parent", parent, specs));
        }
        let joint = JointSpec { kind: JointKind::Turn(spec.turn), channel: Some(0), rest: 0.0, offset: spec.pivot };
        match Chain::new(&[joint]) {
            Ok(chain) => joints.push(chain),
            Err(more) => more.into_iter().for_each(|f| {
                let is_pivot = f.field == "offset";
                let title = if is_pivot { f.title.replace("`offset`", "`pivot`") } else { f.title };
                add(Flaw { field: if is_pivot { "pivot".to_owned() } else { f.field }, title, ..f });
            }),
        }
    }
    if !flaws.is_empty() {
        return Err(flaws);
    }
    let parents: Vec<Option<usize>> = specs.iter().map(|s| s.parent.as_deref().and_then(number_of)).collect();
    let mut made: Vec<Limb> = Vec::with_capacity(specs.len());
    // By number in the list, the number among those made.
    let mut known: Vec<Option<usize>> = vec![None; specs.len()];
    loop {
        let is_ready =
            |i: usize| known.get(i) == Some(&None) && parents.get(i).is_some_and(|p| p.is_none_or(|p| known.get(p) != Some(&None)));
        let Some(i) = (0..specs.len()).find(|i| is_ready(*i)) else { break };
        let (Some(spec), Some(joint)) = (specs.get(i), joints.get(i)) else { break };
        let parent = parents.get(i).copied().flatten().and_then(|p| known.get(p).copied().flatten());
        if let Some(slot) = known.get_mut(i) {
            *slot = Some(made.len());
        }
        made.push(Limb { name: spec.name.clone(), parent, joint: joint.clone(), channel: channel(&spec.channel) });
    }
    // What is left hangs on itself; said once.
    if let Some((i, spec)) = known.iter().zip(specs).enumerate().find(|(_, (known, _))| known.is_none()).map(|(i, (_, spec))| (i, spec)) {
        let flaw = Flaw::new(Code::CircularReference, "parent", "a limb is its own parent");
        let found = format!("\"{}\", whose parents lead back to `{}`", spec.parent.as_deref().unwrap_or_default(), spec.name);
        let flaw = flaw.found(found, "parents that end at the body").help("leave out `parent` of the limb on the body");
        return Err(vec![flaw.at_index(i)]);
    }
    Ok(made)
}

/// The flaw that a figure has no limb of this name.
pub(crate) fn unknown_limb(field: &str, name: &str, specs: &[LimbSpec]) -> Flaw {
    let known: Vec<String> = specs.iter().take(12).map(|s| format!("`{}`", s.name)).collect();
    let allowed = if known.is_empty() { "no name: the group has no [[group.limb]]".to_owned() } else { known.join(", ") };
    Flaw::new(Code::UnknownLimb, field, "the group has no such limb")
        .found(format!("\"{name}\""), allowed)
        .help("name a limb of the same group, or leave the key out for the body")
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;

    fn limb(name: &str, parent: Option<&str>) -> LimbSpec {
        let parent = parent.map(str::to_owned);
        LimbSpec { name: name.into(), parent, pivot: [10.0, 0.0, 0.0], turn: [0.0, 0.0, 2.0], channel: format!("heron.{name}") }
    }

    fn made(specs: &[LimbSpec]) -> Result<Vec<Limb>, Vec<Flaw>> {
        limbs(specs, |name| specs.iter().position(|s| s.channel == name).unwrap())
    }

    /// Two limbs of 10 mm, both turned up by 90 deg: 10 ahead, 10 up, then back.
    #[test]
    fn a_limb_on_a_limb_by_hand_whatever_their_order() {
        let all = made(&[limb("tip", Some("wing")), limb("wing", None)]).unwrap();
        assert_eq!(all.iter().map(|l| (l.name(), l.parent(), l.channel())).collect::<Vec<_>>(), [("wing", None, 1), ("tip", Some(0), 0)]);
        let wing = all[0].pose_on(Pose::home(), 90.0);
        let tip = all[1].pose_on(wing, 90.0).out_fixed(Vector::new(5.0, 0.0, 0.0));
        assert!((tip.x - 5.0).abs() < 1e-14 && (tip.y - 10.0).abs() < 1e-14 && tip.z == 0.0, "{tip:?}");
    }

    #[test]
    fn each_mistake_has_one_flaw() {
        let codes = |specs: &[LimbSpec]| made(specs).unwrap_err().iter().map(|f| (f.code(), f.index)).collect::<Vec<_>>();
        assert_eq!(codes(&[limb("a", Some("b")), limb("b", Some("c")), limb("c", Some("b"))]), [("circular-reference", Some(0))]);
        assert_eq!(codes(&[limb("a", Some("a"))]), [("circular-reference", Some(0))]);
        assert_eq!(codes(&[limb("a", None), limb("a", None)]), [("duplicate-name", Some(1))]);
        assert_eq!(codes(&[limb("body", None)]), [("duplicate-name", Some(0))]);
        assert_eq!(codes(&[limb("a", Some("wing"))]), [("unknown-limb", Some(0))]);
        assert_eq!(codes(&[LimbSpec { turn: [0.0; 3], ..limb("a", None) }]), [("zero-length", Some(0))]);
        let lost = made(&[LimbSpec { pivot: [f64::NAN, 0.0, 0.0], ..limb("A", None) }]).unwrap_err();
        assert_eq!(
            lost.iter().map(|f| (f.code(), f.field.as_str())).collect::<Vec<_>>(),
            [("invalid-name", "name"), ("out-of-range", "pivot")]
        );
    }
}
