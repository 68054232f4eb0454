//! What changed stages and shots write is verified: a folder that nobody touched has no fault, however odd its numbers.
//!
//! `MUTANTS=2000 FROM=0 cargo test --release --lib sound_mutants::many -- --ignored --nocapture`; see `mutants`.

use crate::inside::common::folder::read;
use crate::inside::common::inputs::Inputs;
use crate::inside::mutants::{mutant, wished};
use movewright::check::Approval;
use movewright::compile::Compiled;
use movewright::input;
use movewright::output::Export;
use movewright::output::handoff::sampling::Wishes;
use movewright::output::rows::RowRate;
use movewright::verify::verify;

/// Faults of what these inputs write, with so many rows a second; `None` where they write nothing.
fn faults(inputs: &Inputs, rate: Option<u32>) -> Option<Vec<String>> {
    let temp = tempfile::tempdir().unwrap();
    let source = temp.path().join("in");
    std::fs::create_dir(&source).unwrap();
    inputs.0.iter().for_each(|(name, text)| std::fs::write(source.join(name), text).unwrap());
    let loaded = input::load(&source.join("shot.toml")).ok()?;
    let sources = loaded.sources.for_copying();
    let report = Compiled::compile(loaded.stage, loaded.shot).ok()?.check().ok()?;
    let approval = Approval::within_limits(&report)?;
    let out = temp.path().join("out");
    let wishes = Wishes { full_size: true, ..Wishes::default() };
    let rows = rate.map(|rate| RowRate::parse(&rate.to_string()).unwrap());
    Export { parts: None, approval, sources: &sources, replace: false, wishes, rows }.write(&out, &mut |_| {}).ok()?;
    let verdict = verify(&out, &read).unwrap();
    Some(verdict.faults.iter().map(|f| format!("{f:?}")).collect())
}

/// What once were false alarms: a pivot 150 m away, beside which the rounding of a limb that is small as its parent sees it was counted by the limb's size; an outline cut close to
/// the lens, with a corner that was none; a figure beyond another on their rail in one pass and parked on this side of it in the next; a channel that nothing drives on a mechanism
/// whose axes are fitted.
#[test]
fn sound_folders_that_once_had_a_fault_hold() {
    for seed in [3_000_410, 4_000_503, 4_001_328, 11_000_859] {
        assert_eq!(faults(&mutant(seed).0, None), Some(Vec::new()), "seed {seed}");
    }
}

/// The same with rows: where an axis may start far from where it is said to, the move to start may take long, and the other axes with it; so may it where an axis with backlash
/// moves by so little that its side is not certain.
#[test]
fn sound_rows_that_once_had_a_fault_hold() {
    for seed in [5_000_099, 5_000_172, 11_000_161, 11_000_615] {
        assert_eq!(faults(&mutant(seed).0, Some(25)), Some(Vec::new()), "seed {seed}");
    }
}

#[test]
#[ignore = "long"]
fn many() {
    let (from, n) = (wished("FROM", 0), wished("MUTANTS", 300));
    let (mut sound, mut failed) = (0, Vec::new());
    for seed in from..from + n {
        let (inputs, changes) = mutant(seed);
        match faults(&inputs, (seed % 2 == 1).then_some(25)) {
            None => {}
            Some(faults) if faults.is_empty() => sound += 1,
            Some(faults) => failed.push(format!("seed {seed} ({changes}): {}", faults.join("; "))),
        }
    }
    println!("of {n} mutants from seed {from} {sound} were written and hold");
    assert!(failed.is_empty(), "{failed:#?}");
    assert!(sound * 8 > n, "{sound} of {n} were written");
}
