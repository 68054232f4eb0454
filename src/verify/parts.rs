//! Where the parts of a figure are: its body, its limbs, the places after its joints, and what is fixed to them.
//!
//! What: a limb is one joint more on what carries it; the place after a joint is the end of the chain that stops there. Invariant: worked out by [`Place`], which shares no
//! formula with the compiler's poses. Units: mm, deg.

use super::figure::{Place, Point, point};
use crate::stage::{Body, ChannelId, Hold, Line, Place as Part, Solid, Stage};

/// Where a part of a figure is, with `value` as the value of each channel.
pub(super) fn part(body: &Body, part: Part, value: &dyn Fn(ChannelId) -> f64) -> Place {
    let of = |i: usize| body.every_channel().get(i).map_or(f64::NAN, |c| value(*c));
    match part {
        Part::Stage => Place::STAGE,
        Part::Body => Place::of(body.chain(), &of),
        Part::Joint(number) => Place::STAGE.carrying(body.chain().joints().take(number + 1), &of),
        Part::Limb(number) => {
            let Some(limb) = body.limbs().get(number) else { return Place::of(body.chain(), &of) };
            // Parents come first, so this ends.
            let parent = self::part(body, Part::of(limb.parent()), value);
            parent.carrying(limb.joint().joints(), &|_| of(limb.channel()))
        }
    }
}

/// A figure with every place that something is fixed to.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Figure {
    body: Place,
    limbs: Vec<Place>,
    joints: Vec<(usize, Place)>,
}

impl Figure {
    /// With `value` as the value of each channel.
    pub(super) fn of(body: &Body, value: &dyn Fn(ChannelId) -> f64) -> Figure {
        let of = |i: usize| body.every_channel().get(i).map_or(f64::NAN, |c| value(*c));
        let joints = body.held_joints().iter().map(|n| (*n, part(body, Part::Joint(*n), value))).collect();
        let mut figure = Figure { body: part(body, Part::Body, value), limbs: Vec::new(), joints };
        for limb in body.limbs() {
            let parent = limb.parent().and_then(|p| figure.limbs.get(p)).copied().unwrap_or(figure.body);
            figure.limbs.push(parent.carrying(limb.joint().joints(), &|_| of(limb.channel())));
        }
        figure
    }

    /// Where something fixed to it is, in the stage's axes.
    pub(super) fn out(&self, hold: &Hold) -> Point {
        let known = match hold.place {
            Part::Stage => None,
            Part::Body => Some(&self.body),
            Part::Limb(number) => self.limbs.get(number),
            Part::Joint(number) => self.joints.iter().find(|(n, _)| *n == number).map(|(_, place)| place),
        };
        known.unwrap_or(&Place::STAGE).out(point(hold.at))
    }
}

/// Every body of a stage and every limb, in the order in which they are handed over, with their names.
pub(super) fn handed_over(stage: &Stage) -> Vec<(&Body, Part, String)> {
    let of = |body: &'_ Body| core::iter::once(Part::Body).chain((0..body.limbs().len()).map(Part::Limb));
    stage.bodies().iter().flat_map(|body| of(body).map(move |part| (body, part, part_name(stage, body, part)))).collect()
}

/// `GROUP` or `GROUP.LIMB`.
pub(super) fn part_name(stage: &Stage, body: &Body, part: Part) -> String {
    let group = stage.group_name(body.group());
    part.limb().and_then(|n| body.limbs().get(n)).map_or_else(|| group.to_owned(), |l| format!("{group}.{}", l.name()))
}

/// True for a limb that hangs on a part of a figure.
pub(super) fn hangs_on((other, limb): (&Body, Part), (body, part): (&Body, Part)) -> bool {
    let limb = limb.limb().and_then(|n| other.limbs().get(n));
    other.group() == body.group() && limb.is_some_and(|l| Part::of(l.parent()) == part)
}

/// The rods that stand on a part of a figure.
pub(super) fn rods(body: &Body, part: Part) -> impl Iterator<Item = &Line> {
    body.rods().filter(move |l| l.ends[0].place == part)
}

/// The proxies shown of a part of a figure, counted from 1 in its group; of a camera none.
pub(super) fn proxies(body: &Body, part: Part) -> impl Iterator<Item = (usize, &Solid)> {
    (1_usize..).zip(body.shown()).filter(move |(_, s)| body.lens().is_none() && s.ends[0].place == part)
}
