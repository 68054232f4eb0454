//! What was written is never called damaged: every example with every option, and seeded shots of every kind, over limits or not.

use std::path::Path;

use crate::case::Case;
use crate::generator::Generator;
use crate::marsh;
use crate::seeded_shot::Input;

/// Compiles with these options; true where a folder was written. Only rows may be refused: where the way to the start is not clear.
fn is_written(case: &Case, shot: &str, options: &[&str]) -> bool {
    let args = [&["compile", shot, "--out", "written"][..], options].concat();
    let compiled = case.run(&args);
    let said = String::from_utf8_lossy(&compiled.stderr).into_owned();
    let is_there = case.path().join("written").exists();
    match compiled.status.code() {
        Some(0) => assert!(is_there, "{args:?}"),
        Some(1) => assert!(is_there == options.contains(&"--over-limits"), "{args:?}: {said}"),
        Some(2) => assert!(!is_there && options.contains(&"--rows") && said.contains("rows"), "{args:?}: {said}"),
        _ => panic!("{args:?}: {said}"),
    }
    is_there
}

/// Verifies what was written and removes it.
fn hold(case: &Case, about: &str) {
    let verified = case.run(&["verify", "written"]);
    let said = String::from_utf8_lossy(&verified.stdout).into_owned();
    assert!(
        verified.status.success() && said.contains("no difference found"),
        "{about}: {said}{}",
        String::from_utf8_lossy(&verified.stderr)
    );
    std::fs::remove_dir_all(case.path().join("written")).unwrap();
}

/// Every option of `compile` that changes a byte of the folder, in every combination; those that only change what is printed or allowed, once.
#[test]
fn every_example_holds_with_every_option() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = |name: &str| std::fs::read_to_string(root.join(name)).unwrap();
    let mut cases: Vec<(Case, &str, &[&str])> = Vec::new();
    let keys = Case::new(&text("examples/two_keys_too_close/stage.toml"), &text("examples/two_keys_too_close/good.toml"));
    keys.write("monotone.toml", &text("examples/two_keys_too_close/monotone.toml"));
    keys.write("refused.toml", &text("examples/two_keys_too_close/refused.toml"));
    let herons = Case::new(&text("fixtures/herons/stage.toml"), &text("fixtures/herons/shot.toml"));
    for keys in ["take_off.toml", "take_off.csv", "heron_b.csv", "heron_c.csv", "heron_d.csv"] {
        herons.write(keys, &text(&format!("fixtures/herons/{keys}")));
    }
    let started = Case::new("", "");
    assert!(started.run(&["new", "started"]).status.success());
    let marshy = Case::new(marsh::STAGE, marsh::SHOT);
    marshy.write("lift.csv", marsh::LIFT);
    cases.push((keys, "shot.toml", &["monotone.toml", "refused.toml"]));
    cases.push((herons, "shot.toml", &[]));
    cases.push((started, "started/shot.toml", &[]));
    cases.push((marshy, "shot.toml", &[]));
    let mut held = 0;
    for (case, first, more) in &cases {
        for shot in [first].into_iter().chain(*more) {
            for size in [&[][..], &["--full-size"]] {
                for rows in [&[][..], &["--rows", "1"], &["--rows", "30000/1001"]] {
                    // Half a million rows of the demo, over and over, are no other case than thousands.
                    if rows.last() == Some(&"30000/1001") && (case.path().join("take_off.csv").exists() || !size.is_empty()) {
                        continue;
                    }
                    let options = [size, rows, &["--over-limits", "--all", "--large"]].concat();
                    let is_refused = rows.len() == 2 && !is_written(case, shot, &options);
                    assert!(!is_refused || *shot == "refused.toml", "{shot} {options:?}");
                    if rows.is_empty() {
                        assert!(is_written(case, shot, &options), "{shot} {options:?}");
                    }
                    if !is_refused {
                        hold(case, &format!("{shot} {options:?}"));
                        held += 1;
                    }
                }
            }
        }
    }
    assert!(held >= 25, "{held}");
    println!("{held} folders");
}

/// As they are, mostly over limits, and at the fastest paces that the check finds, where something is at its limit: nothing may be called exceeded that is not.
fn seeded(seeds: core::ops::Range<u64>) -> [u32; 3] {
    let [mut held, mut within, mut with_rows] = [0; 3];
    for seed in seeds {
        let mut input = Input::from_seed(0x7e51_f000 + seed);
        let mut g = Generator::new(seed);
        // What cannot be compiled at all, such as a limb sent beyond its wire, is not written.
        let Some(report) = input.checked() else { continue };
        for at_limit in [false, true] {
            if at_limit {
                let passes = report["passes"].as_array().unwrap();
                let paces: Vec<Option<f64>> = passes.iter().map(|p| p["fastest_runnable_seconds_per_frame"].as_f64()).collect();
                for (pass, pace) in input.passes.iter_mut().zip(paces) {
                    pass.2 = pace.unwrap_or(pass.2);
                }
            }
            let [stage, shot] = input.texts();
            let case = Case::new(&stage, &shot);
            let rate = format!("{:.0}/{:.0}", 1.0 + 400.0 * g.unit(), 1.0 + 9.0 * g.unit());
            for (options, about) in [(&["--full-size"][..], "full size"), (&["--rows", &rate], rate.as_str())] {
                let is_within = is_written(&case, "shot.toml", options);
                if is_within || is_written(&case, "shot.toml", &[options, &["--over-limits"]].concat()) {
                    hold(&case, &format!("seed {seed}, at a limit: {at_limit}, {about}"));
                    held += 1;
                    within += u32::from(is_within);
                    with_rows += u32::from(options[0] == "--rows");
                }
            }
        }
    }
    println!("{held} folders, {within} of them within limits, {with_rows} with rows");
    [held, within, with_rows]
}

#[test]
fn folders_of_seeded_shots_hold() {
    let [held, within, with_rows] = seeded(0..60);
    assert!(held >= 200 && within >= 60 && with_rows >= 90, "{held} {within} {with_rows}");
}

/// The same over more seeds: `cargo test --test it verify_sound:: -- --ignored`.
#[test]
#[ignore = "minutes"]
fn folders_of_many_shots_hold() {
    let [held, within, _] = seeded(60..1_000);
    assert!(held >= 3_000 && within >= 1_000, "{held} {within}");
}
