//! What a person sees: lines that fit a window of 80 columns, the worst first, help with examples, completions, the manual, a first stage and shot.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use crate::case::short_herons;

/// Columns of the narrowest window.
const WINDOW: usize = 80;

fn fixture(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name).to_str().unwrap().to_owned()
}

/// Runs in a folder, so that no path is longer than its name.
fn run_in(dir: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir).args(args).output().unwrap()
}

fn run(args: &[&str]) -> Output {
    run_in(Path::new(env!("CARGO_MANIFEST_DIR")), args)
}

fn stdout(out: &Output) -> String {
    String::from_utf8(out.stdout.clone()).unwrap()
}

fn fits(what: &str, text: &str) {
    assert!(!text.is_empty(), "{what} says nothing");
    for line in text.lines() {
        assert!(line.chars().count() <= WINDOW, "{what}: {} columns: {line}", line.chars().count());
    }
    assert!(!text.contains('\u{1b}'), "{what}: colour where nobody sees it");
}

/// The command, and the command with `--all`.
fn both_fit(dir: &Path, args: &[&str], status: i32) -> (String, String) {
    let all = [args, &["--all"]].concat();
    let [short, long] = [args, &all].map(|args| {
        let out = run_in(dir, args);
        assert_eq!(out.status.code(), Some(status), "{args:?}: {}", String::from_utf8_lossy(&out.stderr));
        let text = stdout(&out);
        fits(&args.join(" "), &text);
        text
    });
    assert!(short.lines().count() <= long.lines().count(), "{args:?}");
    (short, long)
}

fn commands() -> Vec<String> {
    let help = stdout(&run(&["--help"]));
    let list = help.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap();
    let named =
        list.lines().filter(|l| l.starts_with("  ") && !l.starts_with("   ")).map(|l| l.split_whitespace().next().unwrap().to_owned());
    let commands: Vec<String> = named.filter(|c| c != "help").collect();
    assert!(commands.len() >= 9, "{commands:?}");
    commands
}

#[test]
fn checks_of_all_fixtures_fit_the_window() {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (short, long) = both_fit(here, &["check", &fixture("herons/shot.toml")], 0);
    // Sixty lines: the five axes most used in any pass. With `--all` every axis of every pass, twice: its use, and the share of every limit.
    assert!(short.lines().count() <= 60 && long.lines().count() > 400, "{}", short.lines().count());
    let rows = |text: &str| text.lines().filter(|l| l.starts_with("  ") && l.contains("% ") && !l.contains("vel%")).count();
    assert_eq!((rows(&short), rows(&long)), (5, 67 + 67 + 12 + 67 + 12));
    assert_eq!(short.matches("\n  more axes: 62 lower (--all)\n").count(), 1);
    assert!(!long.contains("more axes:") && !long.contains("(--all)"));
    assert!(long.matches("heron_c.head").count() > short.matches("heron_c.head").count());
    assert_eq!(long.matches("greatest").count(), 5);
    // Passes that share a move share their lines.
    assert!(short.contains("\nbeauty, matte and haze\n  move to start ") && short.matches("fastest possible").count() == 2);
    let mut broken: Vec<PathBuf> = fs::read_dir(fixture("broken")).unwrap().map(|e| e.unwrap().path()).collect();
    broken.retain(|p| !p.ends_with("typing_errors.toml"));
    assert!(broken.len() >= 5);
    for shot in broken {
        let (short, _) = both_fit(here, &["check", shot.to_str().unwrap()], 1);
        let sums = |l: &str| l.ends_with(" limit exceeded") || l.ends_with(" limits exceeded");
        assert!(short.contains("\nexceeded: ") && short.lines().any(sums), "{}: {short}", shot.display());
    }
}

#[test]
fn the_most_used_axis_is_first_and_what_is_over_is_marked() {
    let text = stdout(&run(&["check", &fixture("broken/too_fast.toml")]));
    let first = text.lines().skip_while(|l| !l.starts_with("  axis ")).nth(1).unwrap();
    assert!(first.starts_with("! camera.track ") && first.contains("122.9%") && first.contains(" mm/s "), "{first}");
    assert!(text.contains("\n1 limit exceeded\n"), "{text}");
    let text = stdout(&run(&["check", &fixture("herons/shot.toml")]));
    let uses = text.lines().filter_map(|l| l.strip_prefix("  ")?.split_whitespace().nth(1)?.strip_suffix('%')?.parse().ok());
    let uses: Vec<f64> = uses.collect();
    assert!(uses.len() == 5 && uses.is_sorted_by(|a, b| a >= b), "{uses:?}");
}

#[test]
fn folders_changes_and_takes_fit_the_window() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let (herons, fast) = (fixture("herons/shot.toml"), fixture("broken/too_fast.toml"));
    let (part, _source) = short_herons();
    let part = part.to_str().unwrap();
    let (short, _) = both_fit(dir, &["compile", part, "--out", "columns"], 0);
    assert_eq!(short, stdout(&run(&["check", part])));
    let written = run_in(dir, &["rows", part, "--pass", "beauty", "--rate", "1", "--out", "beauty.rows.csv"]);
    assert!(written.status.success() && written.stdout.is_empty());
    both_fit(dir, &["verify", "columns"], 0);
    let (short, long) = both_fit(dir, &["changes", &herons, &fast], 1);
    assert!(short.contains("more axes (--all)") && !long.contains("--all"), "{short}");
    assert_eq!(short.lines().filter(|l| l.contains(" from frame ") && l.contains("frames")).count(), 10, "{short}");

    // A take that is off on all axes, by more from axis to axis.
    let steps = fs::read_to_string(dir.join("columns/beauty.steps.csv")).unwrap();
    let mut take = String::new();
    for (row, line) in steps.lines().enumerate() {
        let cells = line.split(',').enumerate().filter(|(column, _)| *column != 1);
        let cells = cells.map(|(column, cell)| match cell.parse::<i64>() {
            Ok(count) if row > 0 && column > 1 => (count + column as i64 % 40).to_string(),
            _ => cell.to_owned(),
        });
        take.push_str(&cells.collect::<Vec<_>>().join(","));
        take.push('\n');
    }
    fs::write(dir.join("take.csv"), take).unwrap();
    let (short, long) = both_fit(dir, &["compare", "columns", "--pass", "beauty", "take.csv", "--tolerance-steps", "40"], 0);
    assert!(short.contains("more axes, deviating less (--all)") && !long.contains("--all"), "{short}");
    let over = ["compare", "columns", "--pass", "beauty", "take.csv", "--tolerance-steps", "25"];
    let (short, _) = both_fit(dir, &over, 1);
    assert!(short.matches(" beyond tolerance\n").count() > 10, "what is over is never left out: {short}");

    fs::write(dir.join("columns/matte.steps.csv"), steps.replace(",0,", ",7,")).unwrap();
    both_fit(dir, &["verify", "columns"], 1);
}

#[test]
fn every_command_has_help_with_an_example() {
    fits("--help", &stdout(&run(&["--help"])));
    for command in commands() {
        let out = run(&[&command, "--help"]);
        let help = stdout(&out);
        assert_eq!(out.status.code(), Some(0));
        // A line to be typed stays one line.
        let prose: String = help.lines().filter(|l| !l.starts_with("  movewright ")).map(|l| format!("{l}\n")).collect();
        fits(&command, &prose);
        assert!(help.contains("Example") && help.contains(&format!("\n  movewright {command} ")), "{command}: {help}");
    }
}

#[test]
fn completions_know_every_command() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = stdout(&run(&["completions", shell]));
        for command in commands() {
            assert!(script.contains(&command), "{shell}: {command}");
        }
        assert!(script.contains("over-limits"), "{shell}");
    }
    assert_eq!(run(&["completions", "reeds"]).status.code(), Some(2));
}

#[test]
fn the_manual_has_a_page_for_every_command() {
    let dir = tempfile::tempdir().unwrap();
    let all = stdout(&run(&["man"]));
    assert_eq!(run_in(dir.path(), &["man", "--out", "pages"]).status.code(), Some(0));
    let commands = commands();
    assert!(!all.contains("EXTRA") && !all.contains("<\\fB") && all.contains("\\-\\-out <DIR> <SHOT>"), "{all}");
    assert_eq!(all.matches(".TH movewright").count(), commands.len() + 1);
    let first = fs::read_to_string(dir.path().join("pages/movewright.1")).unwrap();
    assert!(all.starts_with(&first));
    for command in &commands {
        let page = fs::read_to_string(dir.path().join(format!("pages/movewright-{command}.1"))).unwrap();
        assert!(
            all.contains(&page) && page.contains(".SH EXAMPLES") && page.contains(&format!("movewright {command}")),
            "{command}: {page}"
        );
        assert!(first.contains(&format!("movewright\\-{command}(1)")), "{command}: {first}");
    }
    assert_eq!(fs::read_dir(dir.path().join("pages")).unwrap().count(), commands.len() + 1);
    assert_eq!(run_in(dir.path(), &["man", "--out", "pages"]).status.code(), Some(2), "what is there is left untouched");
}

#[test]
fn a_new_stage_and_shot_compile_as_they_stand() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let made = run_in(dir, &["new", "marsh"]);
    assert_eq!(made.status.code(), Some(0), "{}", String::from_utf8_lossy(&made.stderr));
    let told = String::from_utf8(made.stderr).unwrap();
    let next = told.lines().last().unwrap().strip_prefix("next: movewright ").unwrap();
    let next: Vec<&str> = next.split(' ').collect();
    let (short, _) = both_fit(dir, &next, 0);
    assert!(short.contains("every pass is within the limits"));
    assert_eq!(run_in(dir, &["compile", "marsh/shot.toml", "--out", "columns"]).status.code(), Some(0));
    assert_eq!(run_in(dir, &["verify", "columns"]).status.code(), Some(0));

    // Every key has its line of explanation where it first occurs.
    for file in ["stage.toml", "shot.toml"] {
        let text = fs::read_to_string(dir.join("marsh").join(file)).unwrap();
        let mut seen = Vec::new();
        let mut commented = false;
        for line in text.lines() {
            let key = line.split_once(" = ").map_or("", |(key, _)| key);
            if !key.is_empty() && !key.starts_with('#') && !seen.contains(&key) {
                seen.push(key);
                assert!(line.contains('#') || commented || key == "name", "{file}: {line}");
            }
            commented = line.starts_with("[") && line.contains('#');
            assert!(line.chars().count() <= 110, "{file}: {line}");
        }
        assert!(seen.len() > 15, "{file}: {seen:?}");
    }

    let again = run_in(dir, &["new", "marsh"]);
    assert_eq!(again.status.code(), Some(2));
    let told = String::from_utf8(again.stderr).unwrap();
    assert!(told.contains("marsh holds `") && told.contains("left untouched"), "{told}");
    fs::create_dir(dir.join("wet reeds")).unwrap();
    let quoted = String::from_utf8(run_in(dir, &["new", "wet reeds"]).stderr).unwrap();
    assert!(quoted.ends_with("next: movewright check 'wet reeds/shot.toml'\n"), "{quoted}");
    assert_eq!(fs::read_dir(dir).unwrap().count(), 3, "nothing is left beside them");
}
