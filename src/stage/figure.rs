//! What is fixed to a figure: its rods and wires as lines, its proxies, and which of them are kept apart.
//!
//! Invariant: every place that they name exists; every line and every capsule has a place for either end. Units: mm.
//! Two things of one figure are kept apart only where more than two joints lie between them: what is nearer touches by its build.

use super::limb::{BODY, Hold, Limb, LimbSpec, Place, unknown_limb};
use super::name::check_name;
use crate::bounds::{COORDINATE, Code, Flaw, MOST_ENVELOPES, MOST_WIRES, WIRE};
use crate::mechanism::{Chain, Vector};

/// Joints between two things of one figure up to which they are not kept apart.
const NEIGHBOURS: usize = 2;

/// A straight rod that carries a figure, from end to end, in the axes of what it stands on. Unit: mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Rod {
    /// One end.
    pub from: Vector,
    /// The other end.
    pub to: Vector,
    /// The limb it stands on; `None` for the body.
    pub limb: Option<String>,
}

/// What must not meet anything else: a ball, or all points nearer to a line than a radius. Unit: mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capsule {
    /// One end of the middle line; in the axes at the end of the group's chain, or of the stage for an obstacle.
    pub from: Vector,
    /// The other end; equal to `from` for a ball.
    pub to: Vector,
    /// Radius.
    pub radius: f64,
}

/// A capsule that takes the place of a body or of a limb, in the axes of what it stands on.
#[derive(Debug, Clone, PartialEq)]
pub struct Proxy {
    /// Its shape.
    pub shape: Capsule,
    /// The limb it stands on; `None` for the body.
    pub limb: Option<String>,
    /// True where it must keep the required clearance.
    pub clearance: bool,
    /// True where it is shown.
    pub picture: bool,
}

impl From<Capsule> for Proxy {
    /// On the body, for clearance and pictures.
    fn from(shape: Capsule) -> Proxy {
        Proxy { shape, limb: None, clearance: true, picture: true }
    }
}

/// What a wire is made from; units as in the stage file.
#[derive(Debug, Clone, PartialEq)]
pub struct WireSpec {
    /// Names of the places at its ends: a joint, `body`, a limb of the group, or a point of the stage.
    pub places: [String; 2],
    /// Where its ends are, in the axes of those places, mm.
    pub at: [[f64; 3]; 2],
    /// Diameter, mm.
    pub diameter: f64,
}

/// A rod or a wire: straight, from end to end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Line {
    /// Its ends.
    pub ends: [Hold; 2],
    /// Of a wire; `None` for a rod, whose thickness is not given.
    pub diameter: Option<f64>,
}

/// A capsule whose ends are fixed to places of a figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Solid {
    /// The ends of its middle line.
    pub ends: [Hold; 2],
    /// Radius.
    pub radius: f64,
}

/// What is fixed to a figure is made from.
pub(super) struct FixedSpec<'a> {
    pub(super) named_joints: &'a [(String, usize)],
    pub(super) limbs: &'a [LimbSpec],
    pub(super) rods: &'a [Rod],
    pub(super) wires: &'a [WireSpec],
    pub(super) envelope: &'a [Proxy],
}

/// Everything that is fixed to a figure.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Fixed {
    /// Rods, then wires.
    pub(super) lines: Vec<Line>,
    /// Proxies that are shown.
    pub(super) shown: Vec<Solid>,
    /// What is kept apart from everything else: proxies, then wires.
    pub(super) solids: Vec<Solid>,
    /// Pairs of solids of the figure itself that are kept apart.
    pub(super) own: Vec<(usize, usize)>,
    /// Joints after which something is fixed.
    pub(super) joints: Vec<usize>,
}

/// Puts together what is fixed to a body with these limbs; `points` are those of the stage.
///
/// # Errors
/// Every flaw of a joint's name, a rod, an envelope or a wire.
pub(super) fn fixed(spec: &FixedSpec<'_>, chain: &Chain, limbs: &[Limb], points: &[(String, Vector)]) -> Result<Fixed, Vec<Flaw>> {
    let mut flaws = joint_names(spec.named_joints, spec.limbs);
    if spec.envelope.len() > MOST_ENVELOPES {
        let flaw = Flaw::new(Code::TooMany, "envelope", "the group has too many envelopes");
        flaws.push(flaw.found(format!("{} envelopes", spec.envelope.len()), format!("at most {MOST_ENVELOPES}")));
        return Err(flaws);
    }
    let mut fixed = Fixed::default();
    let mut on = |limb: Option<&str>| match limb {
        None => Place::Body,
        Some(name) => limbs.iter().position(|l| l.name() == name).map_or_else(
            || {
                flaws.push(unknown_limb("limb", name, spec.limbs));
                Place::Body
            },
            Place::Limb,
        ),
    };
    for rod in spec.rods {
        let place = on(rod.limb.as_deref());
        fixed.lines.push(Line { ends: [rod.from, rod.to].map(|at| Hold { place, at }), diameter: None });
    }
    for proxy in spec.envelope {
        let Proxy { shape: Capsule { from, to, radius }, .. } = *proxy;
        let place = on(proxy.limb.as_deref());
        let solid = Solid { ends: [from, to].map(|at| Hold { place, at }), radius };
        if proxy.clearance {
            fixed.solids.push(solid);
        }
        if proxy.picture {
            fixed.shown.push(solid);
        }
    }
    if spec.wires.len() > MOST_WIRES {
        let flaw = Flaw::new(Code::TooMany, "wire", "the group has too many wires");
        flaws.push(flaw.found(format!("{} wires", spec.wires.len()), format!("at most {MOST_WIRES}")));
        return Err(flaws);
    }
    for wire in spec.wires {
        match ends(wire, spec.named_joints, spec.limbs, limbs, points) {
            Ok(ends) => {
                fixed.lines.push(Line { ends, diameter: Some(wire.diameter) });
                fixed.solids.push(Solid { ends, radius: 0.5 * wire.diameter });
            }
            Err(more) => flaws.extend(more),
        }
    }
    if !flaws.is_empty() {
        return Err(flaws);
    }
    for end in fixed.lines.iter().flat_map(|l| l.ends) {
        if let Place::Joint(number) = end.place
            && !fixed.joints.contains(&number)
        {
            fixed.joints.push(number);
        }
    }
    fixed.own = own_pairs(&fixed.solids, chain, limbs);
    Ok(fixed)
}

/// Flaws of the names of joints, each with the place in the list as its index.
pub(crate) fn joint_names(joints: &[(String, usize)], limbs: &[LimbSpec]) -> Vec<Flaw> {
    let mut flaws = Vec::new();
    for (i, (name, _)) in joints.iter().enumerate() {
        if let Err(flaw) = check_name("name", name) {
            flaws.push(flaw.at_index(i));
            continue;
        }
        let other = if name == BODY {
            "the end of the chain"
        } else if limbs.iter().any(|l| l.name == *name) {
            "a limb"
        } else if joints.iter().take(i).any(|(n, _)| n == name) {
            "another joint"
        } else {
            continue;
        };
        let flaw = Flaw::new(Code::DuplicateName, "name", format!("a joint has the name of {other}"));
        flaws.push(
            flaw.found(format!("\"{name}\""), "a unique name").help("give each joint and each limb of a group a unique name").at_index(i),
        );
    }
    flaws
}

/// Where a wire ends; flaws are those of the wire's own keys.
///
/// # Errors
/// Places that are not known, numbers out of their range, a wire without length.
pub(crate) fn ends(
    wire: &WireSpec,
    joints: &[(String, usize)],
    specs: &[LimbSpec],
    limbs: &[Limb],
    points: &[(String, Vector)],
) -> Result<[Hold; 2], Vec<Flaw>> {
    let mut flaws: Vec<Flaw> = WIRE.check("diameter", wire.diameter).err().into_iter().collect();
    for (i, at) in wire.at.iter().enumerate() {
        if let Some(x) = at.iter().find(|x| !COORDINATE.contains(**x)) {
            let flaw = Flaw::new(Code::OutOfRange, "at", "`at` is out of range").found(x.to_string(), format!("each from {COORDINATE}"));
            flaws.push(flaw.at_index(i));
        }
    }
    let mut holds = Vec::with_capacity(2);
    for ((field, name), [x, y, z]) in ["from", "to"].into_iter().zip(&wire.places).zip(wire.at) {
        let at = Vector::new(x, y, z);
        let of_figure = match joints.iter().find(|(n, _)| n == name) {
            Some((_, number)) => Some(Place::Joint(*number)),
            None if name == BODY => Some(Place::Body),
            None => limbs.iter().position(|l| l.name() == name).map(Place::Limb),
        };
        let point = points.iter().find(|(n, _)| n == name);
        match (of_figure, point) {
            (Some(place), None) => holds.push(Hold { place, at }),
            (None, Some((_, point))) => holds.push(Hold { place: Place::Stage, at: *point + at }),
            (Some(_), Some(_)) => {
                let flaw = Flaw::new(Code::DuplicateName, field, format!("`{name}` is a place of the group and a point of the stage"));
                flaws.push(
                    flaw.found(format!("\"{name}\""), "a name that only one of them has").help("give the point under [point] another name"),
                );
            }
            (None, None) => flaws.push(unknown_place(field, name, joints, specs, points)),
        }
    }
    match holds.as_slice() {
        [a, b] if a == b => {
            let flaw = Flaw::new(Code::ZeroLength, "to", "a wire has no length");
            flaws.push(
                flaw.found("the same place as `from`", "another place, or two different points in `at`")
                    .help("write two different points in `at`"),
            );
            Err(flaws)
        }
        [a, b] if flaws.is_empty() => Ok([*a, *b]),
        _ => Err(flaws),
    }
}

fn unknown_place(field: &str, name: &str, joints: &[(String, usize)], specs: &[LimbSpec], points: &[(String, Vector)]) -> Flaw {
    let joints = joints.iter().map(|(n, _)| n);
    let known = joints.chain(specs.iter().map(|s| &s.name)).chain(points.iter().map(|(n, _)| n));
    let known: Vec<String> = core::iter::once("`body`".to_owned()).chain(known.take(12).map(|n| format!("`{n}`"))).collect();
    Flaw::new(Code::UnknownPlace, field, "there is no such place for the end of a wire")
        .found(format!("\"{name}\""), known.join(", "))
        .help("name a joint or a limb of the group, `body`, or a point under [point]")
}

/// Pairs of solids with more than [`NEIGHBOURS`] joints between them.
fn own_pairs(solids: &[Solid], chain: &Chain, limbs: &[Limb]) -> Vec<(usize, usize)> {
    // Many solids share few places, so each pair of places is compared once.
    let mut places: Vec<Place> = Vec::new();
    let mut number = |end: Hold| {
        places.iter().position(|p| *p == end.place).unwrap_or_else(|| {
            places.push(end.place);
            places.len() - 1
        })
    };
    let ends: Vec<[usize; 2]> = solids.iter().map(|s| s.ends.map(&mut number)).collect();
    let far: Vec<Vec<bool>> = places.iter().map(|a| places.iter().map(|b| between(*a, *b, chain, limbs) > NEIGHBOURS).collect()).collect();
    let are_far = |a: usize, b: usize| far.get(a).and_then(|row| row.get(b)).copied().unwrap_or_default();
    let mut own = Vec::new();
    for (i, a) in ends.iter().enumerate() {
        for (j, b) in ends.iter().enumerate().skip(i + 1) {
            if a.iter().all(|a| b.iter().all(|b| are_far(*a, *b))) {
                own.push((i, j));
            }
        }
    }
    own
}

/// The fewest joints between two places of a figure.
fn between(a: Place, b: Place, chain: &Chain, limbs: &[Limb]) -> usize {
    // From the floor: joints of the chain that move, then limbs.
    let moving = |place: Place| match place {
        Place::Stage => 0,
        Place::Joint(number) => chain.moving_among(number + 1),
        Place::Body | Place::Limb(_) => chain.moving_among(usize::MAX),
    };
    let path = |place: Place| {
        let mut path = Vec::new();
        let mut next = if let Place::Limb(number) = place { Some(number) } else { None };
        while let Some(number) = next {
            path.push(number);
            next = limbs.get(number).and_then(Limb::parent);
        }
        path.reverse();
        path
    };
    let (p, q) = (path(a), path(b));
    let common = p.iter().zip(&q).take_while(|(x, y)| x == y).count();
    moving(a).abs_diff(moving(b)) + (p.len() - common) + (q.len() - common)
}
