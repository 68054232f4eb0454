//! Takes compared with their pass, frame by frame.
//!
//! What: pass and logs are read in step. Per axis the deviations of all takes at a frame go into its statistics, and those of each take into the sums that tell noise from
//! more. Where an axis deviates by more, the tables are read once more from the beginning, and the models of faults are fitted to these axes.
//! Units: logs in steps are compared with the pass's steps, logs in units with its units; figures come in units, steps and, where the axis's place in the
//! picture is known, pixels. Deviations count in the direction of positive travel.
//! Invariant: the same numbers whatever the threads do: one thread adds, in the order of frames, axes and takes. Memory: a few blocks a log.

use std::io::{Read, Seek};

use super::cause::{Model, NoFault};
use super::facts::{AxisFacts, Options};
use super::fit::{Fit, Known};
use super::lanes::{Four, LANES};
use super::log::LogError;
use super::result::{AxisComparison, Comparison, Figures, LikelyCause, TakeFacts};
use super::rows::{Input, Reading, Run, Table, stride, walk};
use super::said::said;
use super::seen::Seen;
use super::statistics::{Greatest, Statistics};
use super::sums::{Brought, Group, Sample, Sums};
use super::swaps::Swaps;

/// Steps by which sums and units may round.
const ROUNDED: f64 = 1e-6;

/// Compares the logs of takes with the columns of their pass.
///
/// # Errors
/// A table that cannot be read, a column that is no axis, a frame that the pass does not have: the first one found.
pub fn compare<R: Read + Seek + Send>(
    pass: Input<R>,
    takes: Vec<Input<R>>,
    axes: &[AxisFacts],
    options: &Options,
) -> Result<Comparison, LogError> {
    compare_reading(pass, takes, axes, options, Reading::default())
}

/// The same with tables read in this way.
///
/// # Errors
/// As [`compare`].
pub(crate) fn compare_reading<R: Read + Seek + Send>(
    pass: Input<R>,
    takes: Vec<Input<R>>,
    axes: &[AxisFacts],
    options: &Options,
    reading: Reading,
) -> Result<Comparison, LogError> {
    let names: Vec<&str> = axes.iter().map(|a| a.name.as_str()).collect();
    let mut pass = Table::open(pass, &names)?;
    let mut takes = takes.into_iter().map(|take| Table::open(take, &names)).collect::<Result<Vec<_>, _>>()?;
    let logged: Vec<Vec<usize>> = takes.iter().map(|t| t.log.logged().collect()).collect();
    let mut held = Held::new(axes, options, takes.len());
    walk(&mut pass, &mut takes, axes.len(), reading, &mut |run| held.run(run))?;
    let mut fits = held.suspects(&logged);
    if fits.iter().any(|f| !f.axes.is_empty()) {
        pass.log.rewind()?;
        for take in &mut takes {
            take.log.rewind()?;
        }
        let mut directions = Directions::new(axes, options);
        walk(&mut pass, &mut takes, axes.len(), reading, &mut |run| again(run, &mut directions, &mut fits))?;
    }
    let tried = logged.iter().map(Vec::len).sum::<usize>() as f64;
    let mut causes = Vec::new();
    let mut facts = Vec::new();
    for ((take, fits), has) in takes.iter().zip(&mut fits).zip(&logged) {
        let named = |wanted: &dyn Fn(usize) -> bool| -> Vec<String> {
            axes.iter().enumerate().filter(|(i, _)| wanted(*i)).map(|(_, f)| f.name.clone()).collect()
        };
        let mut unexplained = Vec::new();
        for (axis, models) in fits.causes(tried) {
            let Some(of) = axes.get(axis) else { continue };
            if models.is_empty() {
                unexplained.push(axis);
            }
            causes.extend(models.iter().flat_map(|m| said(axes, of, &take.name, m)).map(|cause| (axis, cause)));
        }
        let moving = has.iter().filter(|axis| held.moves(**axis)).count();
        let strange = unexplained.iter().filter(|axis| held.moves(**axis)).count();
        facts.push(TakeFacts {
            log: take.name.clone(),
            frames: take.rows,
            frames_missing: pass.rows.saturating_sub(take.rows),
            axes_missing: named(&|i| !has.contains(&i)),
            unexplained: named(&|i| unexplained.contains(&i)),
            another_move: 2 * strange > moving,
        });
    }
    // In the order of axes, then of takes.
    causes.sort_by_key(|(axis, _)| *axis);
    Ok(held.finish(pass.rows, facts, causes.into_iter().map(|(_, cause)| cause).collect(), &logged))
}

/// What is remembered of every axis.
struct Held<'a> {
    facts: &'a [AxisFacts],
    options: &'a Options,
    statistics: Vec<Statistics>,
    /// By axis, for whole groups.
    to_steps: Vec<f64>,
    most: Vec<f64>,
    over: Vec<u64>,
    takes: Vec<TakeHeld>,
    row: u64,
}

impl<'a> Held<'a> {
    fn new(facts: &'a [AxisFacts], options: &'a Options, takes: usize) -> Held<'a> {
        let n = facts.len();
        let mut to_steps: Vec<f64> = facts.iter().map(|f| f.to_steps(options.units)).collect();
        to_steps.resize(stride(n), 1.0);
        Held {
            facts,
            options,
            statistics: vec![Statistics::default(); n],
            to_steps,
            most: facts.iter().map(|f| f.most(options) + ROUNDED).collect(),
            over: vec![0; n],
            takes: (0..takes).map(|_| TakeHeld::new(stride(n))).collect(),
            row: 0,
        }
    }

    fn run(&mut self, run: &Run) {
        let Held { statistics, to_steps, most, over, takes, row, .. } = self;
        for (take, log) in takes.iter_mut().zip(run.takes) {
            match log {
                Some(log) => take.run(*row, run, log, to_steps),
                None => take.lacks(),
            }
        }
        *row += u64::try_from(run.frames.len()).unwrap_or(u64::MAX);
        let logs: Vec<&[f64]> = run.takes.iter().flatten().copied().collect();
        let axes = statistics.iter_mut().zip(most).zip(over.iter_mut().zip(to_steps)).enumerate();
        if let ([log], [take]) = (&logs[..], &takes[..]) {
            for (axis, ((statistics, most), (over, to_steps))) in axes {
                let deviations = || column(run, log, axis, *to_steps);
                let Some((rows, lowest, highest)) = take.brought(axis).filter(|b| b.0 > 0) else { continue };
                let first = |largest: f64| run.frames.iter().zip(deviations()).find(|(_, d)| d.abs() == largest).map(|(frame, _)| *frame);
                statistics.add_single(rows, lowest, highest, first);
                if highest > *most || -lowest > *most {
                    *over += deviations().map(|d| u64::from(d.abs() > *most)).sum::<u64>();
                }
            }
            return;
        }
        let mut deviations = Vec::with_capacity(logs.len());
        for (axis, ((statistics, most), (over, to_steps))) in axes {
            let mut columns: Vec<_> = logs.iter().map(|log| column(run, log, axis, *to_steps)).collect();
            for frame in run.frames {
                deviations.clear();
                deviations.extend(columns.iter_mut().filter_map(Iterator::next).filter(|d| !d.is_nan()));
                statistics.add(*frame, &deviations);
                *over += u64::from(deviations.iter().any(|d| d.abs() > *most));
            }
        }
    }

    fn sums(&self, take: &TakeHeld, axis: usize) -> Option<Sums> {
        take.groups.get(axis / LANES).map(|group| group.of(axis % LANES))
    }

    fn moves(&self, axis: usize) -> bool {
        self.takes.iter().filter_map(|take| self.sums(take, axis)).any(|s| s.greatest > s.least)
    }

    /// What is to be fitted of each take.
    fn suspects(&self, logged: &[Vec<usize>]) -> Vec<Fits> {
        let of = |(take, has): (&TakeHeld, &Vec<usize>)| {
            let axes = has.iter().filter_map(|axis| {
                let (sums, facts) = self.sums(take, *axis).filter(Sums::is_suspect).zip(self.facts.get(*axis))?;
                let noise = take.sample.noise(*axis, facts.to_steps(self.options.units));
                let known = Known {
                    rows: sums.n,
                    sum: sums.sum,
                    noise,
                    mistaken: facts.mistaken(self.options.units),
                    backlash: facts.backlash.map(|b| b * facts.steps_per_unit),
                    moves: sums.greatest > sums.least,
                };
                let no_fault = NoFault { rows: sums.n, squares: sums.squares, noise, tried: 1.0 };
                Some((*axis, known, no_fault))
            });
            Fits::new(axes.collect())
        };
        self.takes.iter().zip(logged).map(of).collect()
    }

    fn finish(&self, frames: u64, takes: Vec<TakeFacts>, causes: Vec<LikelyCause>, logged: &[Vec<usize>]) -> Comparison {
        let takes_of = |i: usize| logged.iter().filter(|has| has.contains(&i)).count();
        let rows = self.facts.iter().zip(&self.statistics).zip(self.most.iter().zip(&self.over)).enumerate();
        let axes: Vec<AxisComparison> = rows
            .filter(|(i, _)| takes_of(*i) > 0)
            .map(|(i, ((f, s), (most, over)))| axis_comparison(f, s, takes_of(i), *most - ROUNDED, *over))
            .collect();
        let unlogged = self.facts.iter().enumerate().filter(|(i, _)| takes_of(*i) == 0);
        Comparison {
            frames,
            takes,
            within_tolerance: axes.iter().all(|a| a.frames_over == 0),
            causes,
            axes,
            not_logged: unlogged.map(|(_, f)| f.name.clone()).collect(),
        }
    }
}

/// Deviations of an axis over a stretch of rows, steps.
fn column<'r>(run: &'r Run, log: &'r [f64], axis: usize, to_steps: f64) -> impl Iterator<Item = f64> + 'r {
    let of = move |rows: &'r [f64]| rows.iter().skip(axis).step_by(run.stride);
    of(log).zip(of(run.pass)).map(move |(y, t)| (y - t) * to_steps)
}

/// What is remembered of every axis in one take.
struct TakeHeld {
    groups: Vec<Group>,
    brought: Vec<Brought>,
    sample: Sample,
    /// The rows before: the last one and the one before that, of the pass and of the log; NaN where there is none.
    before: [(Vec<f64>, Vec<f64>); 2],
}

impl TakeHeld {
    fn new(stride: usize) -> TakeHeld {
        let none = || (vec![f64::NAN; stride], vec![f64::NAN; stride]);
        TakeHeld { groups: vec![Group::new(); stride / LANES], brought: Vec::new(), sample: Sample::default(), before: [none(), none()] }
    }

    fn lacks(&mut self) {
        self.groups.iter_mut().for_each(Group::lacks);
        for (pass, log) in &mut self.before {
            pass.fill(f64::NAN);
            log.fill(f64::NAN);
        }
    }

    fn run(&mut self, row: u64, run: &Run, log: &[f64], to_steps: &[f64]) {
        self.brought.clear();
        for (group, at) in self.groups.iter_mut().zip((0..).step_by(LANES)) {
            self.brought.push(group.add(run.pass, log, run.stride, at, Four::from(to_steps, at)));
        }
        self.sample(row, run, log);
        let mut last = run.pass.chunks_exact(run.stride).zip(log.chunks_exact(run.stride)).rev();
        let [after, before] = &mut self.before;
        let put = |to: &mut (Vec<f64>, Vec<f64>), (pass, log): (&[f64], &[f64])| {
            to.0.copy_from_slice(pass);
            to.1.copy_from_slice(log);
        };
        if let Some(row) = last.next() {
            core::mem::swap(after, before);
            put(after, row);
        }
        if let Some(row) = last.next() {
            put(before, row);
        }
    }

    /// Takes the rows into the sample that belong there.
    fn sample(&mut self, row: u64, run: &Run, log: &[f64]) {
        let [after, before] = &self.before;
        let rows = run.pass.chunks_exact(run.stride).zip(log.chunks_exact(run.stride));
        let all = [(&before.0[..], &before.1[..]), (&after.0[..], &after.1[..])].into_iter().chain(rows);
        let (second, third) = (all.clone().skip(1), all.clone().skip(2));
        for (row, ((a, b), c)) in (row..).zip(all.zip(second).zip(third)) {
            if self.sample.wants(row) {
                self.sample.add(row, a, b, c);
            }
        }
    }

    /// Positions that an axis had in the last stretch, its lowest and its highest deviation.
    fn brought(&self, axis: usize) -> Option<(u64, f64, f64)> {
        let group = self.brought.get(axis / LANES)?;
        let at = |four: Four| four.0.get(axis % LANES).copied();
        let rows = crate::number::whole::nearest(at(group.rows)?).and_then(|n| u64::try_from(n).ok())?;
        Some((rows, at(group.lowest)?, at(group.highest)?))
    }
}

/// The directions of every axis while rows are taken in.
struct Directions {
    to_steps: Vec<f64>,
    last: Vec<f64>,
    now: Vec<f64>,
}

impl Directions {
    fn new(axes: &[AxisFacts], options: &Options) -> Directions {
        let to_steps = axes.iter().map(|f| f.to_steps(options.units)).collect();
        Directions { to_steps, last: vec![f64::NAN; axes.len()], now: vec![0.0; axes.len()] }
    }

    fn row(&mut self, targets: &[f64]) {
        for (((target, to_steps), last), now) in targets.iter().zip(&self.to_steps).zip(&mut self.last).zip(&mut self.now) {
            let moved = (target - *last) * to_steps;
            if moved > 0.0 {
                *now = 1.0;
            } else if moved < 0.0 {
                *now = -1.0;
            }
            *last = *target;
        }
    }
}

/// The suspect axes of one take.
struct Fits {
    axes: Vec<(usize, NoFault, Fit)>,
    swaps: Swaps,
}

impl Fits {
    fn new(axes: Vec<(usize, Known, NoFault)>) -> Fits {
        let most = |no_fault: &NoFault| no_fault.most_left();
        let swaps = Swaps::new(&axes.iter().map(|(axis, _, no_fault)| (*axis, most(no_fault))).collect::<Vec<_>>());
        Fits { axes: axes.into_iter().map(|(axis, known, no_fault)| (axis, no_fault, Fit::new(known))).collect(), swaps }
    }

    /// The plain models of each suspect axis.
    fn causes(&mut self, tried: f64) -> Vec<(usize, Vec<Model>)> {
        let of = |(axis, no_fault, fit): &mut (usize, NoFault, Fit)| {
            let (frame, largest) = fit.from();
            let mut models = fit.models();
            models.extend(self.swaps.model(*axis, no_fault.rows, frame, largest));
            (*axis, NoFault { tried, squares: fit.squares(), ..*no_fault }.choose(models))
        };
        self.axes.iter_mut().map(of).collect()
    }
}

/// The second reading: rows into the models.
fn again(run: &Run, directions: &mut Directions, fits: &mut [Fits]) {
    for (i, (frame, targets)) in run.frames.iter().zip(run.pass.chunks_exact(run.stride)).enumerate() {
        directions.row(targets);
        for (fits, cells) in fits.iter_mut().zip(run.takes) {
            let cells = cells.and_then(|c| c.get(i * run.stride..(i + 1) * run.stride));
            for (axis, _, fit) in &mut fits.axes {
                let at = |all: &[f64]| all.get(*axis).copied().unwrap_or(f64::NAN);
                let to_steps = at(&directions.to_steps);
                let seen = Seen { frame: *frame, target: at(targets) * to_steps, logged: cells.map_or(f64::NAN, at) * to_steps };
                fit.add(seen, at(&directions.now));
            }
            if let Some(cells) = cells {
                fits.swaps.add(targets, cells, &directions.to_steps);
            }
        }
    }
}

fn axis_comparison(f: &AxisFacts, s: &Statistics, takes: usize, most: f64, over: u64) -> AxisComparison {
    let figures = |factor: f64| {
        let scaled = |x: Option<f64>| x.map(|x| x * factor);
        Figures {
            repeatability: scaled(s.repeatability().map(|g| g.value)),
            accuracy: scaled(s.accuracy()),
            mean_range: scaled(s.mean_range()),
            largest_deviation: scaled(s.largest_deviation().map(|g| g.value)),
            pass_to_pass: scaled(s.pass_to_pass().map(|g| g.value)),
        }
    };
    let frame = |g: Option<Greatest>| g.filter(|g| g.value > 0.0).map(|g| g.frame);
    AxisComparison {
        axis: f.name.clone(),
        unit: f.unit,
        takes,
        frames: s.frames(),
        units: figures(1.0 / f.steps_per_unit),
        tolerance_steps: most.is_finite().then_some(most),
        frames_over: over,
        largest_deviation_frame: frame(s.largest_deviation()),
        pass_to_pass_frame: frame(s.pass_to_pass()),
        steps: figures(1.0),
        pixels: f.pixels_per_unit.map(|p| figures(p / f.steps_per_unit)),
    }
}
