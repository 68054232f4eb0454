//! How the cost of a job grows with each of its dimensions: axes, frames, passes, layers, copies, figures, envelopes, limbs, wires, keys, pairs.
//!
//! What: every dimension is doubled three times, all others kept; the exponent is the slope of the logarithms, by least squares. In every run of the tests the counted work
//! grows with an exponent of 1.1 at most, of pairs 1.3; `measured`, which is ignored, prints the exponents of processor time and the table of DEVELOPERS.md.
//! `cargo test --release --lib inside::growth::measured -- --ignored --nocapture`.

use movewright::bounds::Effort;
use movewright::check::Approval;
use movewright::compile::Compiled;
use movewright::output::columns::{self, Column};

use crate::inside::common::inputs::{Inputs, Sized, chain, cycles, drifts, track};

/// A figure on a rail's length of its own, 400 mm from its neighbour, that bobs.
const FIGURE: &str = "[[group.joint]]\nslide = [0, 1, 0]\nchannel = \"x\"\noffset = [{x}, 0, 0]\n[[group.envelope]]\nfrom = [0, 0, -20]\nto = [0, 0, 20]\nradius = 15\n";

fn figures(n: usize) -> Inputs {
    let layers: String = (0..n).map(|i| drifts(&format!("g{i}.x"), 1)).collect();
    Sized { groups: n, group: FIGURE, layers, ..Sized::default() }.inputs()
}

fn envelopes(n: usize) -> Inputs {
    let capsule = |k: usize| format!("[[group.envelope]]\nfrom = [0, 0, {}]\nto = [0, 0, {}]\nradius = 4\n", 10 * k, 10 * k + 8);
    let body =
        format!("[[group.joint]]\nslide = [0, 1, 0]\nchannel = \"x\"\noffset = [{{x}}, 0, 0]\n{}", (0..n).map(capsule).collect::<String>());
    let layers = drifts("g0.x", 1) + &drifts("g1.x", 1) + &drifts("g2.x", 1);
    Sized { groups: 3, group: Box::leak(body.into_boxed_str()), layers, ..Sized::default() }.inputs()
}

/// An axis that turns, and a body 400 mm from its neighbour.
const TURNING: &str = "[[group.axis]]\nname = \"turn\"\nunit = \"deg\"\ntravel = [-90, 90]\nmax_velocity = 50\nmax_acceleration = 20\nmax_jerk = 40\nmotor = \"m\"\n\
                       microsteps = 10\n[[group.joint]]\nname = \"hook\"\nslide = [0, 1, 0]\nchannel = \"x\"\noffset = [{x}, 0, 0]\n";

/// Three figures with this body, whose both axes drift.
fn three(body: &str) -> Inputs {
    let body = format!("{TURNING}{body}");
    let layers: String = (0..3).map(|i| drifts(&format!("g{i}.x"), 1) + &drifts(&format!("g{i}.turn"), 1)).collect();
    Sized { groups: 3, group: Box::leak(body.into_boxed_str()), layers, ..Sized::default() }.inputs()
}

/// Limbs side by side on the body, each with a proxy.
fn limbs(n: usize) -> Inputs {
    let limb = |k: usize| {
        format!(
            "[[group.limb]]\nname = \"l{k}\"\npivot = [0, 0, {}]\nturn = [0, 0, 1]\nchannel = \"turn\"\n[[group.envelope]]\nfrom = [0, 0, 0]\nto = [30, 0, 0]\nradius = 3\n\
             limb = \"l{k}\"\n",
            10 * k
        )
    };
    three(&(0..n).map(limb).collect::<String>())
}

/// Limbs on limbs, of which all but neighbours are compared with each other.
fn limbs_on_limbs(n: usize) -> Inputs {
    let limb = |k: usize| {
        let parent = if k == 0 { String::new() } else { format!("parent = \"l{}\"\n", k - 1) };
        format!(
            "[[group.limb]]\nname = \"l{k}\"\n{parent}pivot = [0, 0, 10]\nturn = [0, 0, 1]\nchannel = \"turn\"\n[[group.envelope]]\nfrom = [0, 0, 0]\nto = [0, 0, 8]\nradius = 1\n\
             limb = \"l{k}\"\n"
        )
    };
    three(&(0..n).map(limb).collect::<String>())
}

/// Upright wires over a plate that turns.
fn wires(n: usize) -> Inputs {
    let wire = |k: usize| {
        let z = 10 * k;
        format!("[[group.wire]]\nfrom = \"hook\"\nto = \"body\"\nat = [[0, 500, {z}], [0, 0, {z}]]\ndiameter = 0.4\n")
    };
    let plate = "[[group.joint]]\nturn = [0, 0, 1]\nchannel = \"turn\"\n";
    three(&(plate.to_owned() + &(0..n).map(wire).collect::<String>()))
}

/// Figures that drift and swing under a carriage of their own.
fn swinging(n: usize, frames: usize) -> Inputs {
    let body = "[[group.joint]]\nname = \"hook\"\nslide = [1, 0, 0]\nchannel = \"x\"\noffset = [0, 0, {x}]\n[group.swing]\njoint = \"hook\"\nlength = 900\n";
    let layers = (0..n).map(|i| drifts(&format!("g{i}.x"), 1)).collect();
    Sized { groups: n, group: body, layers, frames, ..Sized::default() }.inputs()
}

/// Axes that all move.
fn axes(n: usize) -> Inputs {
    Sized { groups: n, layers: (0..n).map(|i| track(&format!("g{i}.x"), 20)).collect(), ..Sized::default() }.inputs()
}

type Made = fn(usize) -> Inputs;

/// Name, the least size, how it is made, the greatest exponent of counted work. Where nothing is counted that could grow, only time is measured.
const DIMENSIONS: [(&str, usize, Made, Option<f64>); 17] = [
    ("axes", 100, axes, Some(1.1)),
    ("frames, keyed axes", 4000, |n| Sized { frames: n, ..at_length() }.inputs(), None),
    (
        "frames, a drift and a cycle",
        2000,
        |n| Sized { frames: n, layers: drifts("g0.x", 1) + &cycles("g0.x", 1), ..Sized::default() }.inputs(),
        Some(1.1),
    ),
    ("passes", 8, |n| Sized { passes: n, ..axes_at_length() }.inputs(), None),
    ("layers: drifts on one channel", 25, |n| Sized { layers: drifts("g0.x", n), ..Sized::default() }.inputs(), Some(1.1)),
    ("layers: cycles on one channel", 50, |n| Sized { layers: cycles("g0.x", n), ..Sized::default() }.inputs(), Some(1.1)),
    ("copies in a chain", 200, |n| Sized { groups: n + 1, layers: track("g0.x", 20) + &chain(n), ..Sized::default() }.inputs(), Some(1.1)),
    ("figures, and with them pairs", 16, figures, Some(1.3)),
    ("envelopes of three figures", 8, envelopes, Some(1.1)),
    ("limbs of three figures", 8, limbs, Some(1.1)),
    ("limbs on limbs, and with them pairs", 8, limbs_on_limbs, Some(1.3)),
    ("wires of three figures", 8, wires, Some(1.1)),
    ("figures that swing", 8, |n| swinging(n, 200), Some(1.1)),
    ("frames of figures that swing", 200, |n| swinging(2, n), Some(1.1)),
    ("retimes of one group", 2, |n| retimes(n, 4), Some(1.1)),
    ("keys of a retime", 50, |n| retimes(1, n), Some(1.1)),
    ("keys of one track", 2000, |n| Sized { layers: track("g0.x", n), ..Sized::default() }.inputs(), Some(1.1)),
];

/// A cycle and a track over 4000 frames, seen through so many retimes of so many keys, in turn slower and faster.
fn retimes(n: usize, keys: usize) -> Inputs {
    let gap = 4000.0 / keys as f64;
    let list: String = (0..=keys).map(|i| format!("[{}, {}],", gap * i as f64, gap * (i as f64 + 0.1 * (i % 2) as f64))).collect();
    let layers = track("g0.x", 50) + &cycles("g0.x", 1) + &format!("[[retime]]\nkeys = [{list}]\nease = 2\n").repeat(n);
    Sized { frames: 4000, layers, ..Sized::default() }.inputs()
}

fn at_length() -> Sized {
    Sized { groups: 4, layers: (0..4).map(|i| track(&format!("g{i}.x"), 50)).collect(), ..Sized::default() }
}

fn axes_at_length() -> Sized {
    Sized { groups: 50, layers: (0..50).map(|i| track(&format!("g{i}.x"), 20)).collect(), frames: 400, ..Sized::default() }
}

/// Counted work of compiling and checking, after everything has been read, planned, checked and written to nowhere.
fn job(inputs: &Inputs) -> u64 {
    let loaded = inputs.load().unwrap_or_else(|r| panic!("{r}"));
    let compiled = Compiled::compile(loaded.stage, loaded.shot).unwrap_or_else(|e| panic!("{e:?}"));
    let report = compiled.check().unwrap();
    let approval = Approval::over_limits(&report);
    for pass in approval.report().compiled.shot().passes() {
        columns::write(std::io::sink(), &compiled, pass, Column::Steps).unwrap();
    }
    let of = |c: &Compiled| Effort::ALL.iter().map(|effort| c.work().used(*effort)).sum::<u64>();
    of(&compiled) + of(&report.compiled)
}

/// The slope of log cost over log size.
fn exponent(costs: &[(f64, f64)]) -> f64 {
    let logs: Vec<(f64, f64)> = costs.iter().map(|(n, c)| (n.ln(), c.ln())).collect();
    let mean = |f: fn(&(f64, f64)) -> f64| logs.iter().map(f).sum::<f64>() / logs.len() as f64;
    let (x, y) = (mean(|l| l.0), mean(|l| l.1));
    logs.iter().map(|l| (l.0 - x) * (l.1 - y)).sum::<f64>() / logs.iter().map(|l| (l.0 - x).powi(2)).sum::<f64>()
}

const DOUBLED: u32 = 3;

fn sizes(least: usize) -> impl Iterator<Item = usize> {
    (0..=DOUBLED).map(move |k| least << k)
}

#[test]
fn slopes_are_exponents() {
    let squares: Vec<(f64, f64)> = [1.0, 2.0, 4.0, 8.0].map(|n: f64| (n, 3.0 * n * n)).to_vec();
    assert!((exponent(&squares) - 2.0).abs() < 1e-12);
}

#[test]
fn counted_work_grows_in_proportion() {
    for (name, least, made, most) in DIMENSIONS {
        let Some(most) = most else { continue };
        let costs: Vec<(f64, f64)> = sizes(least / 2).map(|n| (n as f64, job(&made(n)) as f64)).collect();
        assert!(costs.iter().all(|(_, work)| *work > 0.0), "{name}: nothing is counted; {costs:?}");
        let found = exponent(&costs);
        assert!(found <= most, "{name}: exponent {found:.2}; {costs:?}");
    }
}

/// Seconds of processor time of this process.
fn seconds() -> f64 {
    let of = |task: std::io::Result<std::fs::DirEntry>| -> Option<f64> {
        let text = std::fs::read_to_string(task.ok()?.path().join("schedstat")).ok()?;
        text.split(' ').next()?.parse().ok()
    };
    std::fs::read_dir("/proc/self/task").unwrap().filter_map(of).sum::<f64>() * 1e-9
}

/// Prints the table; the least of some runs, since other work on the machine only adds.
#[test]
#[ignore = "processor time is measured"]
fn measured() {
    println!("| dimension | sizes | ms | exponent of time | of counted work |\n| --- | --- | --- | --- | --- |");
    for (name, least, made, _) in DIMENSIONS {
        let mut rows = Vec::new();
        for n in sizes(least) {
            let inputs = made(n);
            let mut best = f64::INFINITY;
            let mut work = 0;
            for _ in 0..5 {
                // The kernel counts in ticks of some milliseconds: many jobs are timed together.
                let (start, mut jobs) = (seconds(), 0.0);
                while seconds() - start < 0.1 {
                    work = job(&inputs);
                    jobs += 1.0;
                }
                best = best.min((seconds() - start) / jobs);
            }
            rows.push((n as f64, best, 1.0 + work as f64));
        }
        let of = |f: fn(&(f64, f64, f64)) -> (f64, f64)| exponent(&rows.iter().map(f).collect::<Vec<_>>());
        let list = |f: &dyn Fn(&(f64, f64, f64)) -> String| rows.iter().map(f).collect::<Vec<_>>().join(", ");
        println!(
            "| {name} | {} | {} | {:.2} | {:.2} |",
            list(&|r| format!("{}", r.0)),
            list(&|r| format!("{:.1}", 1e3 * r.1)),
            of(|r| (r.0, r.1)),
            of(|r| (r.0, r.2))
        );
    }
}
