//! `compare` at the command line: what it says of logs that run late and of axes with backlash, and why nothing is known in pixels.

use serde_json::Value;

use crate::case::{Case, STAGE, axis, pass, shot};

/// Figures that move in several ways: from rest to rest, to and fro, with a single reversal, and through both cuts. Microsteps 8 and 16.
fn folder() -> Case {
    let moves = [
        ("bridge", 8, "minimum_jerk", "[[5, 0], [60, 900]]"),
        ("trolley", 8, "minimum_jerk", "[[1, 0], [15, 80], [30, -40], [45, 90], [60, 0]]"),
        ("hoist", 16, "minimum_jerk", "[[1, 0], [30, 300], [60, 100]]"),
        ("yaw", 16, "natural_cubic", "[[-5, -50], [20, 60], [40, 10], [66, 90]]"),
    ];
    let axes = moves.map(|(name, microsteps, ..)| {
        axis(name, "mm", [-1000.0, 1000.0], [1e4, 1e5, 1e6], &format!("microsteps = {microsteps}\ntravel_per_rev = 10"))
    });
    let tracks = moves.map(|(name, _, shape, keys)| format!("{{ channel = \"heron.{name}\", shape = \"{shape}\", keys = {keys} }}"));
    let stage = format!("{STAGE}[[group]]\nname = \"heron\"\n{}", axes.concat());
    let case = Case::new(&stage, &shot([1, 60], &tracks.join(", "), &pass("p", "moving", 12.0)));
    let out = case.run(&["compile", "shot.toml", "--out", "out"]);
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    case
}

/// The written counts: header, frames, and one column for each axis.
fn columns(case: &Case) -> (String, Vec<Vec<i64>>) {
    let text = std::fs::read_to_string(case.path().join("out/p.steps.csv")).unwrap();
    let (header, rows) = text.split_once('\n').unwrap();
    let counts = |line: &str| line.split(',').skip(2).map(|c| c.parse().unwrap()).collect::<Vec<i64>>();
    let rows: Vec<Vec<i64>> = rows.lines().map(counts).collect();
    (header.to_owned(), (0..rows[0].len()).map(|c| rows.iter().map(|r| r[c]).collect()).collect())
}

/// What is said of each axis of a log with these columns: its causes by name, and their sentences.
fn causes(case: &Case, header: &str, log: &[Vec<i64>]) -> Vec<(String, Vec<String>, String)> {
    let mut text = format!("{}\n", header.replace("frame,timecode,", "frame,"));
    for i in 0..log[0].len() {
        let cells: Vec<String> = log.iter().map(|column| column[i].to_string()).collect();
        text.push_str(&format!("{},{}\n", i + 1, cells.join(",")));
    }
    case.write("log.csv", &text);
    let out = case.run(&["compare", "out", "--pass", "p", "log.csv", "--json"]);
    // Without a lens a step is allowed.
    let off = log.iter().zip(&columns(case).1).any(|(log, pass)| log.iter().zip(pass).any(|(y, t)| (y - t).abs() > 1));
    assert_eq!(out.status.code(), Some(i32::from(off)), "{}", String::from_utf8_lossy(&out.stderr));
    let json: Value = serde_json::from_slice(&out.stdout).unwrap();
    let of = |a: &Value| {
        let all: Vec<&Value> = json["causes"].as_array().unwrap().iter().filter(|c| c["axis"] == a["axis"]).collect();
        let text = |key: &str| all.iter().map(|c| c[key].as_str().unwrap().to_owned()).collect::<Vec<_>>();
        let mut causes = text("cause");
        causes.sort_unstable();
        (a["axis"].as_str().unwrap().to_owned(), causes, text("message").join("; "))
    };
    json["axes"].as_array().unwrap().iter().map(of).collect()
}

#[test]
fn a_log_that_runs_late_or_early_is_no_slip_and_has_lost_no_steps() {
    let case = folder();
    let (header, pass) = columns(&case);
    for (late, said) in [(1_i64, "the log is 1 frame late"), (-1, "the log is 1 frame early"), (2, "the log is 2 frames late")] {
        let last = pass[0].len() as i64 - 1;
        let log: Vec<Vec<i64>> = pass.iter().map(|c| (0..=last).map(|i| c[(i - late).clamp(0, last) as usize]).collect()).collect();
        for (axis, causes, message) in causes(&case, &header, &log) {
            assert_eq!(causes, ["frame_shift"], "{axis}: {message}");
            assert!(message.contains(said), "{axis}: {message}");
        }
    }
}

/// Every axis lags by 8 steps behind the way it goes; before it first moves it stands where the move before left it, on either side.
#[test]
fn eight_steps_of_backlash_are_no_lost_steps_where_an_axis_reverses() {
    let case = folder();
    let (header, pass) = columns(&case);
    for came_from in [1, -1] {
        let lagging = |column: &Vec<i64>| {
            let ahead = |i: usize| column.get(i + 1).is_some_and(|next| *next != column[i]);
            let first = (0..column.len()).find(|i| ahead(*i)).unwrap();
            let mut side = came_from * (column[first + 1] - column[first]).signum();
            let each = (0..column.len()).map(|i| {
                let moved = if i == 0 { 0 } else { (column[i] - column[i - 1]).signum() };
                side = if moved == 0 { side } else { moved };
                column[i] - 8 * side
            });
            each.collect::<Vec<i64>>()
        };
        let log: Vec<Vec<i64>> = pass.iter().map(lagging).collect();
        for (axis, causes, message) in causes(&case, &header, &log).into_iter().filter(|(axis, ..)| axis != "heron.bridge") {
            assert_eq!(causes, ["backlash"], "{axis}: {message}");
            assert!(message.contains("(16 steps)"), "{axis}: {message}");
        }
    }
}

/// The bridge sets out after a rest and never reverses. Where it lags from there on, backlash explains as much as lost steps, and both are listed.
#[test]
fn a_lag_from_where_an_axis_sets_out_may_be_backlash_or_lost_steps() {
    let case = folder();
    let (header, mut log) = columns(&case);
    let set_out = log[0].iter().position(|count| *count != log[0][0]).unwrap();
    for count in &mut log[0][set_out..] {
        *count -= 8;
    }
    let found = causes(&case, &header, &log);
    assert_eq!(found[0].1, ["backlash", "lost_steps"], "{}", found[0].2);
}

/// The bridge never reverses: there a jump of full steps on the way is steps lost.
#[test]
fn steps_that_are_lost_are_still_named() {
    let case = folder();
    let (header, mut log) = columns(&case);
    for count in &mut log[0][30..] {
        *count -= 16;
    }
    let found = causes(&case, &header, &log);
    assert_eq!(found[0].1, ["lost_steps"], "{}", found[0].2);
    assert!(found[0].2.contains("frame 31") && found[1..].iter().all(|f| f.1.is_empty()), "{found:?}");
}

const JOINTS: &str = "[[group.joint]]\nslide = [1, 0, 0]\nchannel = \"bridge\"\n";
const LENS: &str = "[group.lens]\nfocal_length = 24\nfilm_back = [24.9, 18.7]\npixels = [4096, 3072]\n";
const ENVELOPE: &str = "[[group.envelope]]\nfrom = [0, 0, 0]\nto = [0, 50, 0]\nradius = 30\n";

/// Why a tolerance in pixels cannot be judged: a camera where there is one, a figure at this place where there is one.
fn refused(camera: Option<&str>, figure: Option<[f64; 3]>) -> String {
    let bridge = axis("bridge", "mm", [-1000.0, 1000.0], [1e4, 1e5, 1e6], "travel_per_rev = 10");
    let mut stage = STAGE.to_owned();
    for (name, more) in [
        ("heron", figure.map(|at| format!("[[group.joint]]\noffset = {at:?}\n{JOINTS}{ENVELOPE}"))),
        ("camera", camera.map(|lens| format!("{JOINTS}{lens}"))),
    ] {
        stage.push_str(&format!("[[group]]\nname = \"{name}\"\n{bridge}{}", more.unwrap_or_default()));
    }
    let tracks = ["heron", "camera"].map(|g| format!("{{ channel = \"{g}.bridge\", keys = [[1, 0], [24, 100]] }}"));
    let case = Case::new(&stage, &shot([1, 24], &tracks.join(", "), &pass("p", "moving", 12.0)));
    let out = case.run(&["compile", "shot.toml", "--out", "out"]);
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    let out = case.run(&["compare", "out", "--pass", "p", "out/p.steps.csv", "--tolerance-px", "1"]);
    let said = String::from_utf8(out.stderr).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(out.status.code(), Some(if said.is_empty() { 0 } else { 2 }), "{said}");
    said
}

#[test]
fn a_stage_whose_figure_is_never_in_the_picture_does_have_a_lens() {
    // The camera looks along -z: 2 m ahead it sees the figure, 2 m behind it does not.
    assert_eq!(refused(Some(LENS), Some([0.0, 0.0, -2000.0])), "");
    for (camera, figure, code, why) in [
        (Some(LENS), Some([0.0, 0.0, 2000.0]), "not-in-picture", "the lens of camera never has heron in its picture"),
        (None, Some([0.0, 0.0, 2000.0]), "missing-lens", "the stage has no lens"),
    ] {
        let said = refused(camera, figure);
        assert!(said.contains(&format!("error[{code}]")) && said.contains(why) && said.contains("use --tolerance-steps"), "{said}");
    }
    // Neither is a lens without a figure none at all; the camera's own axes move it, which shows nothing.
    let said = refused(Some(LENS), None);
    assert!(said.contains("error[not-in-picture]") && said.contains("no figure in front of it"), "{said}");
}

/// Each cause through the program, by its name in files; the bridge never reverses, the trolley does, three times.
#[test]
fn each_fault_of_a_log_is_named() {
    let case = folder();
    let (header, pass) = columns(&case);
    let of = |log: &[Vec<i64>]| causes(&case, &header, log).into_iter().map(|(_, causes, _)| causes).collect::<Vec<_>>();
    let edited = |axis: usize, edit: &dyn Fn(usize, i64) -> i64| {
        let mut log = pass.clone();
        log[axis] = log[axis].iter().enumerate().map(|(i, y)| edit(i, *y)).collect();
        log
    };
    let still = pass[1][39];
    let cases: [(Vec<Vec<i64>>, usize, &str); 7] = [
        (edited(1, &|_, y| 2 * y), 1, "scale"),
        (edited(1, &|_, y| -y), 1, "sign"),
        (edited(1, &|i, y| if i < 39 { y } else { still }), 1, "frozen"),
        (edited(1, &|i, y| if i < 30 { y } else { pass[1][i - 1] }), 1, "frame_shift"),
        // 200 steps in 10 mm a turn, in microsteps of an eighth: 160 steps a millimetre.
        (edited(1, &|_, y| (y as f64 / 160.0).round() as i64), 1, "units"),
        (edited(2, &|i, y| y + 3 * i as i64), 2, "drift"),
        (edited(2, &|_, y| y - 20), 2, "offset"),
    ];
    for (log, axis, cause) in cases {
        let found = of(&log);
        assert_eq!(found[axis], [cause]);
        assert!(found.iter().enumerate().all(|(i, causes)| i == axis || causes.is_empty()), "{found:?}");
    }
    let mut log = pass.clone();
    log.swap(1, 3);
    let found = of(&log);
    assert_eq!(
        (&found[1][..], &found[3][..], found[0].len() + found[2].len()),
        (&["swapped".to_owned()][..], &["swapped".to_owned()][..], 0)
    );
    assert!(of(&pass).iter().all(Vec::is_empty));
}

/// Home switches: a planted loss, scatter alone, the criterion's limit, and calls that are wrong.
#[test]
fn home_switches_show_lost_steps_beside_their_scatter() {
    let case = folder();
    let counts = |axis: &str, counts: &[i64]| counts.iter().map(|c| format!("{axis},{c}\n")).collect::<String>();
    let compared = |after: &[i64]| {
        case.write("before.csv", &format!("axis,steps\n{}{}", counts("heron.hoist", &[0, 1, -1]), counts("heron.yaw", &[3])));
        case.write("after.csv", &format!("axis,steps\n{}{}", counts("heron.hoist", after), counts("heron.yaw", &[10])));
        let out = case.run(&["compare", "out", "--home", "before.csv", "after.csv", "--json"]);
        let json: Value = serde_json::from_slice(&out.stdout).unwrap();
        assert_eq!(out.status.code(), Some(if json["no_steps_lost"] == true { 0 } else { 1 }));
        assert_eq!(json["not_read"], serde_json::json!(["heron.bridge", "heron.trolley"]));
        assert_eq!(
            (json["axes"][1]["lost"].as_bool(), json["axes"][1]["scatter_steps"].is_null()),
            (Some(false), true),
            "7 of 16 microsteps"
        );
        (json["axes"][0]["lost"].as_bool().unwrap(), json["axes"][0]["full_steps"].as_i64().unwrap())
    };
    assert_eq!(compared(&[48, 49, 47]), (true, 3));
    // D: s = 1 and 4 degrees of freedom; t of 0.5 % = 5.598, error = sqrt(2/3): 4.57 steps.
    assert_eq!(compared(&[4, 5, 3]), (false, 0));
    assert_eq!(compared(&[5, 6, 4]), (true, 0));
    let said = String::from_utf8(case.run(&["compare", "out", "--home", "before.csv", "after.csv"]).stdout).unwrap();
    assert!(said.starts_with("steps lost on 1 axis of 2 axes"), "{said}");
    for wrong in
        [&["--home", "before.csv"][..], &["--home", "before.csv", "after.csv", "--pass", "p"], &["--home", "before.csv", "none.csv"], &[]]
    {
        assert_eq!(case.run(&[&["compare", "out"], wrong].concat()).status.code(), Some(2), "{wrong:?}");
    }
}
