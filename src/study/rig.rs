//! What a figure of the stage can do of a recording: its axes fitted to the markers, and what is lost without each of them.
//!
//! What: the recording is taken in the axes of the figure's body, its first complete row as the figure with every axis at home. A marker is on the limb, or the body, that explains its way with the fewest
//! axes: of the places with at most [`AS_GOOD`] times the least residual, together with the markers that move less and over [`TRIED_ROWS`] rows, the one that fewest axes move. Then all axes are fitted to all markers, row by row ([`Figure`]);
//! where on its limb a marker is, is the mean over the rows. Limits: [`MOST_ROWS`] complete rows, evenly picked; every axis within its travel and every mechanism within its reach, but wires that must stay
//! taut, acceleration and jerk are not looked at.

use super::figure_fit::{Figure, Seat, off, place};
use crate::bounds::{self, Code, Flaw};
use crate::mechanism::Vector;
use crate::number::whole;
use crate::stage::{AxisId, Body, ChannelId, Stage};

/// Rows that are fitted.
const MOST_ROWS: usize = 400;

/// Rows by which a marker's place is sought.
const TRIED_ROWS: usize = 40;

/// A place with fewer axes is taken up to so many times the least residual: noise in three directions is more than what is left in one.
const AS_GOOD: f64 = 2.0;

/// So is one that leaves less than this share of the marker's way: without noise all that is left is rounding.
const AS_SMALL: f64 = 1e-3;

/// Times that the axes are fitted, then where the markers are on their limbs.
const ROUNDS: usize = 3;

/// Share of its travel by which an axis is at an end.
const AT_END: f64 = 1e-9;

/// What is left at markers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Left {
    /// Root of the mean square over all coordinates, mm.
    pub(crate) rms: f64,
    /// Farthest that a marker is off, mm.
    pub(crate) worst: f64,
}

/// A marker on the figure.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Attached {
    /// Index of the marker.
    pub(crate) marker: usize,
    /// Name of the limb, or `body`.
    pub(crate) on: String,
    /// What is left at it.
    pub(crate) left: Left,
}

/// What an axis does.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Used {
    /// Full name.
    pub(crate) axis: String,
    /// Unit of its positions.
    pub(crate) unit: &'static str,
    /// Least and greatest position.
    pub(crate) range: [f64; 2],
    /// Rows in which it is at an end of its travel.
    pub(crate) at_end: usize,
    /// Fastest from row to row, in units per s of the recording.
    pub(crate) fastest: f64,
    /// Its greatest velocity on the stage, in units per s.
    pub(crate) allowed: f64,
    /// What is left where it stays at home and the others are fitted anew.
    pub(crate) without: Option<Left>,
}

/// A figure that follows a recording, row by row.
#[derive(Debug, Clone)]
pub(crate) struct Followed<'a> {
    /// Whose channels are meant.
    pub(crate) body: &'a Body,
    /// Numbers of the channels that move, among [`Body::every_channel`], with their full names.
    pub(crate) channels: Vec<(usize, String)>,
    /// Where the markers are on it.
    pub(crate) seats: Vec<Seat>,
    /// Time of each row, s, values of every channel, and where the markers were recorded.
    pub(crate) rows: Vec<(f64, Vec<f64>, Vec<Vector>)>,
}

/// How well a figure follows a recording.
#[derive(Debug, Clone)]
pub(crate) struct Rig<'a> {
    /// The figure in every row.
    pub(crate) followed: Followed<'a>,
    /// Name of the group.
    pub(crate) group: String,
    /// Rows that were fitted.
    pub(crate) rows: usize,
    /// Markers, those of a removed body left out.
    pub(crate) markers: Vec<Attached>,
    /// What is left with every axis.
    pub(crate) left: Left,
    /// Axes that move a marker.
    pub(crate) axes: Vec<Used>,
}

/// What is fitted.
pub(crate) struct Recorded<'a> {
    /// Coordinates of complete rows, one row after the other, mm.
    pub(crate) moving: &'a [f64],
    /// Times of the rows, s.
    pub(crate) times: &'a [f64],
    /// Markers.
    pub(crate) markers: usize,
    /// Indices of the markers whose rigid motion was removed.
    pub(crate) body: &'a [usize],
    /// Indices of markers with the names of the limbs that they are on, where somebody said so.
    pub(crate) attached: &'a [(usize, String)],
}

impl<'a> Rig<'a> {
    /// Fits a group of a stage.
    ///
    /// # Errors
    /// A group that is not there or has nothing that moves; a limb that is not there; more work than is allowed.
    pub(crate) fn of(stage: &'a Stage, group: &str, recorded: &Recorded<'_>) -> Result<Rig<'a>, Flaw> {
        let id = stage.group_of_name(group).ok_or_else(|| {
            let known: Vec<&str> = stage.groups().iter().map(|g| g.name()).take(12).collect();
            Flaw::new(Code::UnknownGroup, "--group", "the stage has no such group").found(format!("`{group}`"), known.join(", "))
        })?;
        let Some(body) = stage.body_of(id) else {
            let flaw = Flaw::new(Code::UnknownLimb, "--group", "the group has no joints and no limbs");
            return Err(flaw.found(format!("`{group}`"), "a group with [[group.joint]] or [[group.limb]]"));
        };
        let fit = Fit::new(stage, body, recorded);
        let every_limb: Vec<Option<usize>> = (0..body.limbs().len()).map(Some).chain([None]).collect();
        let tried = fit.rows.len().min(TRIED_ROWS) * every_limb.len();
        let (m, axes) = (fit.markers.len(), fit.figure(&every_limb).axes.len());
        if tried.saturating_mul(axes).saturating_mul(m.saturating_mul(m)) > bounds::MOST_STUDIED {
            return Err(too_large(&format!("{} limbs, {axes} axes, {m} markers", body.limbs().len())));
        }
        let mut on: Vec<(usize, Seat)> = Vec::new();
        // The markers that somebody placed, then those that move least: what carries a limb is known before the limb.
        for k in fit.by_motion() {
            let named = recorded.attached.iter().find(|(m, _)| fit.markers.get(k) == Some(m));
            if let Some((_, name)) = named {
                on.push((k, fit.seat(k, fit.limb(name)?)?));
            }
        }
        for k in fit.by_motion() {
            if !on.iter().any(|(known, _)| *known == k) {
                let limb = fit.sought(k, &on)?;
                on.push((k, fit.seat(k, limb)?));
            }
        }
        on.sort_by_key(|(k, _)| *k);
        let seats: Vec<Seat> = on.into_iter().map(|(_, seat)| seat).collect();
        let figure = fit.figure(&seats.iter().map(|s| s.limb).collect::<Vec<_>>());
        if figure.axes.is_empty() {
            let flaw = Flaw::new(Code::UnknownLimb, "--group", "no axis of the group moves a marker");
            return Err(flaw
                .found("every marker on a part that stands still", "a marker on a limb")
                .help("leave out --body, or put a marker on a limb with --attach"));
        }
        let work = fit.rows.len().saturating_mul(figure.axes.len().saturating_pow(3)).saturating_mul(seats.len() + body.limbs().len());
        if work > bounds::MOST_STUDIED {
            return Err(too_large(&format!("{} rows, {} axes, {} markers", fit.rows.len(), figure.axes.len(), seats.len())));
        }
        fit.result(group, &figure, seats)
    }
}

/// A recording on its way onto a figure.
struct Fit<'a> {
    stage: &'a Stage,
    body: &'a Body,
    /// True where the body's own motion was removed: its joints stay at home.
    on_body: bool,
    /// Markers that are fitted.
    markers: Vec<usize>,
    /// Rows that are fitted: their times, and every marker's point on the stage.
    rows: Vec<(f64, Vec<Vector>)>,
}

impl<'a> Fit<'a> {
    fn new(stage: &'a Stage, body: &'a Body, recorded: &Recorded<'_>) -> Fit<'a> {
        let count = recorded.times.len();
        let width = recorded.moving.len() / count.max(1);
        let dimensions = width / recorded.markers.max(1);
        let markers: Vec<usize> = (0..recorded.markers).filter(|m| !recorded.body.contains(m)).collect();
        let home = Figure { stage, body, axes: Vec::new() }.posture(&[]);
        let point = |row: &[f64], marker: usize| {
            let at = |i: usize| if i < dimensions { row.get(marker * dimensions + i).copied().unwrap_or(0.0) } else { 0.0 };
            let p = Vector::new(at(0), at(1), at(2));
            home.as_ref().map_or(p, |home| home.body().out_fixed(p))
        };
        let every = count.div_ceil(MOST_ROWS).max(1);
        let rows = recorded.times.iter().zip(recorded.moving.chunks(width.max(1))).step_by(every);
        let rows = rows.map(|(t, row)| (*t, markers.iter().map(|m| point(row, *m)).collect())).collect();
        Fit { stage, body, on_body: !recorded.body.is_empty(), markers, rows }
    }

    fn limb(&self, name: &str) -> Result<Option<usize>, Flaw> {
        if name == "body" {
            return Ok(None);
        }
        self.body.limbs().iter().position(|l| l.name() == name).map(Some).ok_or_else(|| {
            let known: Vec<&str> = core::iter::once("body").chain(self.body.limbs().iter().map(|l| l.name())).take(12).collect();
            Flaw::new(Code::UnknownLimb, "--attach", "the group has no such limb").found(format!("`{name}`"), known.join(", "))
        })
    }

    /// The axes that move any of these places.
    fn figure(&self, limbs: &[Option<usize>]) -> Figure<'a> {
        let mut axes: Vec<AxisId> = Vec::new();
        let of_body = self.body.channels();
        for limb in limbs {
            let channels = self.body.channels_to(*limb).into_iter().filter_map(|c| self.body.every_channel().get(c));
            let moved = channels.filter(|c| !(self.on_body && of_body.contains(c)));
            axes.extend(moved.flat_map(|c| self.stage.axes_of(*c)));
        }
        axes.sort_unstable();
        axes.dedup();
        Figure { stage: self.stage, body: self.body, axes }
    }

    /// The fitted markers by their number, those that move least first.
    fn by_motion(&self) -> Vec<usize> {
        let way = |k: usize| {
            let points = || self.rows.iter().filter_map(|(_, points)| points.get(k));
            points().zip(points().skip(1)).map(|(a, b)| *b - *a).map(|d| d.dot(d)).sum::<f64>()
        };
        let mut all: Vec<(usize, f64)> = (0..self.markers.len()).map(|k| (k, way(k))).collect();
        all.sort_by(|a, b| a.1.total_cmp(&b.1));
        all.into_iter().map(|(k, _)| k).collect()
    }

    /// A marker where the first row has it, on a limb of the figure at home.
    fn seat(&self, k: usize, limb: Option<usize>) -> Result<Seat, Flaw> {
        let home = Figure { stage: self.stage, body: self.body, axes: Vec::new() }.posture(&[]).ok_or_else(no_home)?;
        let point = self.rows.first().and_then(|(_, points)| points.get(k)).copied().ok_or_else(no_home)?;
        Ok(Seat { limb, at: place(&home, limb).inward(point) })
    }

    /// The place that explains a marker's way, together with those already placed, with the fewest axes.
    fn sought(&self, k: usize, on: &[(usize, Seat)]) -> Result<Option<usize>, Flaw> {
        let mut tried: Vec<(f64, usize, Option<usize>)> = Vec::new();
        let every = self.rows.len().div_ceil(TRIED_ROWS).max(1);
        let mut moved = 0.0;
        for limb in core::iter::once(None).chain((0..self.body.limbs().len()).map(Some)) {
            let mut seats = on.to_vec();
            seats.push((k, self.seat(k, limb)?));
            let figure = self.figure(&seats.iter().map(|(_, s)| s.limb).collect::<Vec<_>>());
            let alone: Vec<Seat> = seats.iter().map(|(_, s)| *s).collect();
            let mut at = figure.home();
            let mut squares = 0.0;
            moved = 0.0;
            let mut last: Option<Vec<Vector>> = None;
            for (_, points) in self.rows.iter().step_by(every) {
                let points: Vec<Vector> = seats.iter().filter_map(|(k, _)| points.get(*k).copied()).collect();
                at = figure.fitted(&alone, &points, &at, None).ok_or_else(no_home)?;
                let posture = figure.posture(&at).ok_or_else(no_home)?;
                squares += alone.iter().zip(&points).map(|(s, p)| off(&posture, s, *p)).map(|d| d.dot(d)).sum::<f64>();
                if let Some(last) = &last {
                    moved += last.iter().zip(&points).map(|(a, b)| *b - *a).map(|d| d.dot(d)).sum::<f64>();
                }
                last = Some(points);
            }
            tried.push((squares, figure.axes.len(), limb));
        }
        let least = tried.iter().map(|t| t.0).fold(f64::INFINITY, f64::min);
        let enough = (AS_GOOD * AS_GOOD * least).max(AS_SMALL * AS_SMALL * moved);
        let good = tried.into_iter().filter(|t| t.0 <= enough);
        Ok(good.reduce(|a, b| if (b.1, b.0) < (a.1, a.0) { b } else { a }).and_then(|t| t.2))
    }

    /// Positions of the axes in every row.
    fn positions(&self, figure: &Figure<'_>, seats: &[Seat], held: Option<usize>) -> Result<Vec<Vec<f64>>, Flaw> {
        let mut at = figure.home();
        let mut all = Vec::with_capacity(self.rows.len());
        for (_, points) in &self.rows {
            at = figure.fitted(seats, points, &at, held).ok_or_else(no_home)?;
            all.push(at.clone());
        }
        Ok(all)
    }

    /// By marker, then row.
    fn offs(&self, figure: &Figure<'_>, seats: &[Seat], positions: &[Vec<f64>]) -> Result<Vec<Vec<f64>>, Flaw> {
        let mut offs = vec![Vec::new(); seats.len()];
        for ((_, points), at) in self.rows.iter().zip(positions) {
            let posture = figure.posture(at).ok_or_else(no_home)?;
            for ((seat, point), of_marker) in seats.iter().zip(points).zip(&mut offs) {
                let d = off(&posture, seat, *point);
                of_marker.push(d.dot(d));
            }
        }
        Ok(offs)
    }

    fn result(&self, group: &str, figure: &Figure<'a>, mut seats: Vec<Seat>) -> Result<Rig<'a>, Flaw> {
        let mut positions = self.positions(figure, &seats, None)?;
        for _ in 1..ROUNDS {
            let postures: Option<Vec<_>> = positions.iter().map(|at| figure.posture(at)).collect();
            let postures = postures.ok_or_else(no_home)?;
            for (k, seat) in seats.iter_mut().enumerate() {
                let on = self.rows.iter().zip(&postures).filter_map(|((_, points), p)| Some(place(p, seat.limb).inward(*points.get(k)?)));
                let sum = on.fold(Vector::new(0.0, 0.0, 0.0), |sum, p| sum + p);
                seat.at = sum.times(1.0 / whole::count(self.rows.len()));
            }
            positions = self.positions(figure, &seats, None)?;
        }
        let offs = self.offs(figure, &seats, &positions)?;
        let mut axes = Vec::new();
        for (i, id) in figure.axes.iter().enumerate() {
            let axis = self.stage.axis(*id);
            let (travel, at): (_, Vec<f64>) = (axis.travel(), positions.iter().filter_map(|p| p.get(i).copied()).collect());
            let near = AT_END * (travel.upper - travel.lower);
            let times = self.rows.iter().map(|(t, _)| *t);
            let steps = at.iter().zip(at.iter().skip(1)).zip(times.clone().zip(times.skip(1)));
            axes.push(Used {
                axis: self.stage.axis_name(*id).to_owned(),
                unit: axis.unit().symbol(),
                range: [at.iter().copied().fold(f64::INFINITY, f64::min), at.iter().copied().fold(f64::NEG_INFINITY, f64::max)],
                at_end: at.iter().filter(|x| !(**x > travel.lower + near && **x < travel.upper - near)).count(),
                fastest: steps.map(|((a, b), (from, to))| (b - a).abs() / (to - from)).fold(0.0, f64::max),
                allowed: axis.limits().velocity,
                without: match self.positions(figure, &seats, Some(i)) {
                    Ok(positions) => Some(left(&self.offs(figure, &seats, &positions)?)),
                    // A mechanism that cannot take any place with this axis at home.
                    Err(_) => None,
                },
            });
        }
        let name = |limb: Option<usize>| limb.and_then(|l| self.body.limbs().get(l)).map_or("body", |l| l.name()).to_owned();
        let markers = self.markers.iter().zip(&seats).zip(&offs);
        let moved = |channel: &ChannelId| self.stage.axes_of(*channel).iter().any(|a| figure.axes.contains(a));
        let every = self.body.every_channel().iter().enumerate().filter(|(_, c)| moved(c));
        let rows = self.rows.iter().zip(&positions).map(|((t, points), at)| Some((*t, figure.values(at)?, points.clone())));
        let followed = Followed {
            body: self.body,
            channels: every.map(|(i, c)| (i, self.stage.channel_name(*c).to_owned())).collect(),
            seats: seats.clone(),
            rows: rows.collect::<Option<_>>().ok_or_else(no_home)?,
        };
        Ok(Rig {
            followed,
            group: group.to_owned(),
            rows: self.rows.len(),
            markers: markers.map(|((m, s), o)| Attached { marker: *m, on: name(s.limb), left: left(core::slice::from_ref(o)) }).collect(),
            left: left(&offs),
            axes,
        })
    }
}

/// Of squares of distances.
fn left(offs: &[Vec<f64>]) -> Left {
    let count = offs.iter().map(Vec::len).sum::<usize>();
    let sum: f64 = offs.iter().flatten().sum();
    Left { rms: (sum / whole::count((3 * count).max(1))).sqrt(), worst: offs.iter().flatten().copied().fold(0.0, f64::max).sqrt() }
}

fn too_large(found: &str) -> Flaw {
    let flaw = Flaw::new(Code::BudgetExceeded, "--group", "the fit is too large");
    let allowed = format!("rows x axes^3 x (markers + limbs), and rows x limbs x axes x markers^2, at most {}", bounds::MOST_STUDIED);
    flaw.found(found.to_owned(), allowed).help("study fewer markers")
}

fn no_home() -> Flaw {
    Flaw::new(Code::ImpossibleMechanism, "--group", "a mechanism of the group cannot take a place of the fit")
        .help("check the mechanism at home and within the travel of its axes")
}
