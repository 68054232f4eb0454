//! The page and the plot as files: whole in themselves, marked as ours, true to the check, and not to be broken by any text of the input.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

fn fixture(name: &str) -> String {
    format!("{}/fixtures/{name}", env!("CARGO_MANIFEST_DIR"))
}

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_movewright")).args(args).output().unwrap()
}

fn said(o: &Output) -> String {
    String::from_utf8_lossy(&o.stderr).into_owned()
}

/// The data a page carries.
fn data(text: &str) -> Value {
    let begin = text.find("type=\"application/json\">").unwrap() + "type=\"application/json\">".len();
    let end = begin + text[begin..].find("</script>").unwrap();
    serde_json::from_str(&text[begin..end]).unwrap()
}

/// A duration was once shown as 13 min 46 s on the terminal and 47 on the page.
#[test]
fn terminal_and_page_show_the_same_durations() {
    let shot = fixture("herons/shot.toml");
    let text = String::from_utf8(run(&["check", &shot]).stdout).unwrap();
    let page = String::from_utf8(run(&["report", &shot, "--out", "-"]).stdout).unwrap();
    let after = |begin: &str| -> Vec<String> {
        let lines = text.lines().filter(|l| l.starts_with("  move to start ")).filter_map(|l| l.split_once(begin).map(|(_, after)| after));
        lines.map(|l| l.split([',', '(']).next().unwrap().trim().to_owned()).collect()
    };
    let (begin, back) = (after("move to start "), after(", home "));
    assert!(begin.len() > 1 && begin.len() == back.len(), "{text}");
    for (way, durations) in [("move to start", begin), ("return home", back)] {
        for duration in durations {
            // In the bars of the clock and in the table of passes.
            assert!(page.contains(&format!("{way} {duration}")), "{way} {duration}");
            assert!(page.contains(&format!("<td>{duration}")), "{way} {duration}");
        }
    }
    // How long each pass takes is in the table of both.
    let takes = text.lines().skip_while(|l| !l.starts_with("pass ")).skip(1).take_while(|l| !l.trim().is_empty());
    let takes: Vec<&str> = takes.map(|l| l.rsplit("  ").next().unwrap().trim()).collect();
    assert_eq!(takes.len(), 5, "{text}");
    for duration in takes {
        assert!(page.contains(&format!("<td>{duration}</td>")), "{duration}");
    }
}

#[test]
fn the_demo_s_page_is_one_file_that_needs_nothing_else() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("move.html");
    let o = run(&["report", &fixture("herons/shot.toml"), "--out", out.to_str().unwrap()]);
    assert_eq!(o.status.code(), Some(0), "{}", said(&o));
    assert!(o.stdout.is_empty());
    let text = fs::read_to_string(&out).unwrap();
    assert!(text.starts_with("<!DOCTYPE html><!-- movewright report -->") && text.len() < 5_000_000, "{}", text.len());
    for loads in ["src=", "href=", "url(", "import ", "fetch(", "XMLHttp", "innerHTML", "https://"] {
        assert!(!text.contains(loads), "{loads}");
    }
    // The one address is the name of the drawing language.
    assert_eq!(text.matches("http://").count(), 1);
    let policy = text.split("Content-Security-Policy\" content=\"").nth(1).unwrap().split('"').next().unwrap();
    for directive in ["default-src 'none'", "form-action 'none'", "base-uri 'none'", "script-src 'sha256-", "style-src-elem 'sha256-"] {
        assert!(policy.contains(directive), "{policy}");
    }
    let scripts = policy.split("; ").find(|d| d.starts_with("script-src ")).unwrap();
    assert!(!scripts.contains("unsafe") && scripts.split(' ').count() == 3, "{policy}");
    assert!(!text.to_lowercase().contains("safe "));
    for part in [
        "not a safety function",
        "ISO 12100",
        "Notes (no limit exceeded)",
        "Registration",
        "Clearance",
        "move to start",
        "match step for step at shutter open, middle and close on 67 axes",
    ] {
        assert!(text.contains(part), "{part}");
    }
    let data = data(&text);
    assert_eq!((data["axes"].as_array().unwrap().len(), data["passes"].as_array().unwrap().len()), (67, 5));
    assert_eq!(data["scene"]["picture"]["size"], serde_json::json!([4096, 3072]));
    assert_eq!(data["scene"]["bodies"][0]["places"][0].as_array().unwrap().len(), 288);
    // Again: replaced; over something else: refused.
    let again = run(&["report", &fixture("herons/shot.toml"), "--out", out.to_str().unwrap()]);
    assert!(said(&again).starts_with("replaced: ") && fs::read_to_string(&out).unwrap() == text);
    fs::write(&out, "a letter").unwrap();
    let refused = run(&["report", &fixture("herons/shot.toml"), "--out", out.to_str().unwrap()]);
    assert_eq!((refused.status.code(), fs::read_to_string(&out).unwrap().as_str()), (Some(2), "a letter"));
    assert!(said(&refused).contains("may not be a report of movewright; it is left untouched: add --replace"), "{}", said(&refused));
    // A report with notes added at its end is no longer only ours.
    let noted = format!("{text}\n<p>lamp 3 flickers");
    fs::write(&out, &noted).unwrap();
    let refused = run(&["report", &fixture("herons/shot.toml"), "--out", out.to_str().unwrap()]);
    assert!(refused.status.code() == Some(2) && fs::read_to_string(&out).unwrap() == noted);
    let replaced = run(&["report", &fixture("herons/shot.toml"), "--replace", "--out", out.to_str().unwrap()]);
    assert!(said(&replaced).starts_with("replaced: ") && fs::read_to_string(&out).unwrap() == text);
    // The same page on standard output, and no file of that name.
    let streamed = Command::new(env!("CARGO_BIN_EXE_movewright"))
        .current_dir(dir.path())
        .args(["report", &fixture("herons/shot.toml"), "--out", "-"])
        .output()
        .unwrap();
    assert_eq!((streamed.status.code(), said(&streamed).as_str()), (Some(0), ""));
    assert!(streamed.stdout == text.as_bytes());
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
}

#[test]
fn what_is_over_a_limit_is_written_all_the_same_and_shown() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("move.html");
    let o = run(&["report", &fixture("broken/too_fast.toml"), "--out", out.to_str().unwrap()]);
    assert_eq!(o.status.code(), Some(1), "{}", said(&o));
    let text = fs::read_to_string(&out).unwrap();
    assert!(text.contains("1 limit exceeded") && text.contains("fix (tested): run the pass at 3.69 s per frame"));
    let pass = &data(&text)["passes"][0];
    assert_eq!(pass["over"][0]["limit"], "velocity");
    let row = pass["usage"][0].as_array().unwrap();
    // The check's peak, 30.7215 of 25 mm/s at frame 120.23, is the greatest of the row, in its own frame, rounded up to thousandths.
    let most = row.iter().map(|u| u.as_u64().unwrap()).max().unwrap();
    assert_eq!((most, row[119].as_u64().unwrap()), (1229, 1229));
}

#[test]
fn no_text_of_the_input_can_break_the_page() {
    let dir = tempfile::tempdir().unwrap();
    let hostile = "</script><script>alert(1)</script><b>&\\u003c";
    let from = fs::read_to_string(fixture("broken/too_fast.toml")).unwrap();
    let stage_at = fixture("herons/stage.toml");
    let changed = from.replace("\"Too fast\"", &format!("'{hostile}'")).replace("../herons/stage.toml", "stage.toml");
    fs::write(dir.path().join("shot.toml"), changed).unwrap();
    let stage = fs::read_to_string(stage_at).unwrap().replace("name = \"Marsh stage\"", &format!("name = '{hostile}'"));
    fs::write(dir.path().join("stage.toml"), stage).unwrap();
    let out = dir.path().join("move.html");
    let o = run(&["report", dir.path().join("shot.toml").to_str().unwrap(), "--out", out.to_str().unwrap()]);
    assert_eq!(o.status.code(), Some(1), "{}", said(&o));
    let text = fs::read_to_string(&out).unwrap();
    assert!(!text.contains("<script>alert") && !text.contains("<b>") && text.contains("&lt;/script&gt;"));
    assert_eq!((text.matches("<script").count(), text.matches("</script>").count()), (3, 3));
    drop(data(&text));
}

#[test]
fn a_plot_is_a_picture_of_one_axis() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("bridge.svg");
    let at = |more: &[&str], out: &Path| {
        let shot = fixture("broken/too_fast.toml");
        let args = ["plot", &shot, "--out", out.to_str().unwrap()];
        run(&[&args[..], more].concat())
    };
    let o = at(&["--axis", "camera.track"], &out);
    assert_eq!(o.status.code(), Some(1), "{}", said(&o));
    let text = fs::read_to_string(&out).unwrap();
    assert!(text.starts_with("<!-- movewright plot -->\n<svg") && text.trim_end().ends_with("</svg>"));
    for part in ["position, mm", "velocity, mm/s", "acceleration, mm/s2", "jerk, mm/s3", "camera.track, pass picture", "#D55E00"] {
        assert!(text.contains(part), "{part}");
    }
    let streamed = at(&["--axis", "camera.track"], Path::new("-"));
    assert!(streamed.status.code() == Some(1) && streamed.stdout == text.as_bytes(), "{}", said(&streamed));
    fs::write(&out, "<!-- movewright plots -->").unwrap();
    let refused = at(&["--axis", "camera.track"], &out);
    assert!(refused.status.code() == Some(2) && said(&refused).contains("may not be a plot of movewright"), "{}", said(&refused));
    assert_eq!(fs::read(&out).unwrap(), b"<!-- movewright plots -->");
    let replaced = at(&["--axis", "camera.track", "--replace"], &out);
    assert!(replaced.status.code() == Some(1) && fs::read_to_string(&out).unwrap() == text);
    let within = at(&["--axis", "camera.pan"], &dir.path().join("pan.svg"));
    assert_eq!(within.status.code(), Some(1));
    assert!(!fs::read_to_string(dir.path().join("pan.svg")).unwrap().contains("#D55E00"), "nothing of this axis is over");
    let unknown = at(&["--axis", "camera.trak"], &out);
    assert!(unknown.status.code() == Some(2) && said(&unknown).contains("did you mean `camera.track`?"));
    let unknown = at(&["--axis", "camera.track", "--pass", "night"], &out);
    assert!(unknown.status.code() == Some(2) && said(&unknown).contains("it has: picture"));
}

/// A channel that a mechanism brings is drawn like an axis; of a name that is neither, the nearest of both is offered.
#[test]
fn any_channel_is_plotted() {
    let shot = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons/shot.toml");
    let plot = |name: &str| {
        let args = ["plot", shot.to_str().unwrap(), "--axis", name, "--out", "-"];
        Command::new(env!("CARGO_BIN_EXE_movewright")).args(args).output().unwrap()
    };
    let drawn = plot("heron_a.wing_left");
    let text = String::from_utf8(drawn.stdout).unwrap();
    assert!(drawn.status.success() && text.contains("heron_a.wing_left, pass beauty") && text.contains("value, deg"), "{text}");
    assert!(text.matches("<circle").count() >= 2 && !text.contains("inf"), "keys are marked, and no limit is named");
    let wrong = plot("heron_a.wing_leff");
    let told = String::from_utf8(wrong.stderr).unwrap();
    assert!(
        wrong.status.code() == Some(2)
            && told.contains("no axis `heron_a.wing_leff` and no such channel")
            && told.contains("`heron_a.wing_left`"),
        "{told}"
    );
}

/// What changed lies under what is new: curves of the axes that changed and outlines of the figures that are elsewhere, none of what is the same.
#[test]
fn an_old_version_is_kept_under_the_new_one_where_it_differs() {
    let dir = tempfile::tempdir().unwrap();
    let at = |version: &str, name: &str| dir.path().join(version).join(name);
    for version in ["old", "new"] {
        fs::create_dir(dir.path().join(version)).unwrap();
        for entry in fs::read_dir(fixture("herons")).unwrap() {
            let path = entry.unwrap().path();
            fs::copy(&path, at(version, path.file_name().unwrap().to_str().unwrap())).unwrap();
        }
    }
    let (old, new) = (at("old", "shot.toml"), at("new", "shot.toml"));
    let against = |old: &Path| {
        let o = run(&["report", new.to_str().unwrap(), "--against", old.to_str().unwrap(), "--out", "-"]);
        assert!(o.status.code() == Some(0), "{}", said(&o));
        String::from_utf8(o.stdout).unwrap()
    };
    let same = against(&old);
    let before = &data(&same)["before"];
    for list in ["axes", "channels", "figures"] {
        assert_eq!(before[list], Value::Array(Vec::new()), "{list}");
    }
    assert!(same.contains("No axis has changed") && same.matches("still good").count() == 5);

    let text = fs::read_to_string(&new).unwrap();
    let copy = text.find("to = \"heron_b\"").unwrap();
    let delay = copy + text[copy..].find("delay = ").unwrap() + "delay = ".len();
    let end = delay + text[delay..].find(|c: char| !c.is_ascii_digit()).unwrap();
    let later = text[delay..end].parse::<u32>().unwrap() + 1;
    fs::write(&new, format!("{}{later}{}", &text[..delay], &text[end..])).unwrap();
    let page = against(&old);
    let before = &data(&page)["before"];
    let names =
        |list: &str| -> Vec<String> { before[list].as_array().unwrap().iter().map(|a| a["name"].as_str().unwrap().to_owned()).collect() };
    for list in ["axes", "channels", "figures"] {
        assert!(!names(list).is_empty() && names(list).iter().all(|n| n.starts_with("heron_b")), "{list}: {:?}", names(list));
    }
    // The old curve is the new one of the other direction.
    let (a, b) = (data(&page), data(&same));
    let curve = |page: &Value, name: &str| {
        let axis = page.as_array().unwrap().iter().find(|x| x["name"] == name).unwrap();
        (axis["knots"].clone(), axis["pieces"].clone())
    };
    for name in names("axes") {
        assert_eq!(curve(&a["before"]["axes"], &name), curve(&b["axes"], &name));
        assert_ne!(curve(&a["axes"], &name), curve(&b["axes"], &name));
        assert!(page.contains(&format!("<td>{name}</td><td>changed</td>")), "{name}");
    }
    // As the command says it.
    let o = run(&["changes", old.to_str().unwrap(), new.to_str().unwrap(), "--json"]);
    let changes: Value = serde_json::from_slice(&o.stdout).unwrap();
    for p in changes["passes"].as_array().unwrap() {
        let verdict = if p["good"].as_bool().unwrap() { "still good" } else { "shoot again" };
        assert!(page.contains(&format!("<strong>{}</strong>: {verdict}", p["pass"].as_str().unwrap())), "{p}");
    }
    // A wrong old version is a wrong call, and nothing is written.
    let o = run(&["report", new.to_str().unwrap(), "--against", at("old", "none.toml").to_str().unwrap(), "--out", "-"]);
    assert!(o.status.code() == Some(2) && o.stdout.is_empty() && said(&o).contains("none.toml"), "{}", said(&o));
}
