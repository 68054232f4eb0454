//! Depth of field, exposure and pace of whole shots: extremes against dense sampling, a stop by hand, light by hand, paces that were tried.

use crate::inside::common::checked;
use movewright::check::NoteKind;
use movewright::check::pace::{Paces, paces};
use movewright::input::{self, Loaded, Rejection};

fn axis(name: &str, travel: &str) -> String {
    format!(
        "[[group.axis]]\nname = \"{name}\"\nunit = \"mm\"\ntravel = {travel}\nmax_velocity = 60\nmax_acceleration = 60\nmax_jerk = 600\nmotor = \"m\"\nmicrosteps = 16\n\
         travel_per_rev = 60\n"
    )
}

/// A camera at z = 4000 that looks along -z, and a ball of 50 mm that slides along z from z = 2000.
fn stage(scale: f64) -> String {
    format!(
        "format = 1\nname = \"Marsh\"\nscale = {scale}\n[point]\nhut = [0, 0, 1500]\n[motor.m]\nfull_steps_per_rev = 200\n[[group]]\nname = \"camera\"\n{}[[group.joint]]\n\
         slide = [1, 0, 0]\nchannel = \"track\"\noffset = [0, 0, 4000]\n[group.lens]\nfocal_length = 50\nfilm_back = [24.9, 18.7]\npixels = [4096, 3072]\n\
         circle_of_confusion = 0.025\nf_numbers = [4, 32]\nfilm_plane = 100\nt_minus_f_stops = 0.5\n[[group]]\nname = \"heron\"\n{}[[group.joint]]\nslide = [0, 0, 1]\n\
         channel = \"slide\"\noffset = [0, 0, 2000]\n[[group.envelope]]\nfrom = [0, 0, 0]\nto = [30, 0, 0]\nradius = 50\n",
        [axis("track", "[-900, 900]"), axis("focus_distance", "[200, 9000]\nhome = 2000")].concat(),
        axis("slide", "[-900, 900]"),
    )
}

/// The heron comes 400 mm nearer and goes 100 mm back between frames.
const KEYS: &str = "[[1, 0], [40.3, 400], [97, 300]]";

fn shot(more: &str, pass: &str) -> String {
    format!(
        "format = 1\nname = \"Reeds\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 97]\n[[track]]\nchannel = \"heron.slide\"\nshape = \"natural_cubic\"\nkeys = {KEYS}\n\
         {more}[[pass]]\nname = \"beauty\"\nexposure = \"moving\"\nseconds_per_frame = 10\nshutter = 180\n{pass}"
    )
}

fn load(shot: &str) -> Result<Loaded, Rejection> {
    input::parse("shot.toml", &|name| Ok(if name == "shot.toml" { shot.to_owned() } else { stage(0.2) }.into_bytes()))
}

fn of(shot: &str) -> (Paces, Vec<f64>) {
    let Loaded { stage, shot, .. } = load(shot).unwrap_or_else(|r| panic!("{r}"));
    let report = checked(&stage, &shot);
    let curve = report.compiled.axes()[stage.axis_of_name("heron.slide").unwrap()].curve();
    // From the first opening to the last closing: a thousand places a frame.
    let slide = (500..=97_500).map(|i| curve.at(f64::from(i) / 1000.0).unwrap()).collect();
    (paces(&report), slide)
}

#[test]
fn nearest_and_farthest_are_never_beaten_between_frames_and_no_farther_than_that() {
    let (found, slide) = of(&shot("", ""));
    let depth = found.depth.unwrap();
    let (most, least) = slide.iter().fold((f64::MIN, f64::MAX), |(a, b), x| (a.max(*x), b.min(*x)));
    let (near, far) = (2000.0 - most - 50.0, 2000.0 - least + 50.0);
    assert!(depth.nearest.tight && depth.nearest.mm <= near && near - depth.nearest.mm <= 2e-4, "{} {near}", depth.nearest.mm);
    assert!(depth.farthest.tight && depth.farthest.mm >= far && depth.farthest.mm - far <= 2e-4, "{} {far}", depth.farthest.mm);
    // The formulas of the thin lens, by hand.
    let (n, f) = (depth.nearest.mm, depth.farthest.mm);
    let s = 2.0 * n * f / (n + f);
    let stop = 2500.0 * s * (1.0 / n - 1.0 / f) / (2.0 * 0.025 * (s - 50.0));
    assert!((depth.focus - s).abs() < 1e-9 && (depth.fixed - stop).abs() < 1e-9 && (depth.magnification - 50.0 / (s - 50.0)).abs() < 1e-12);
    let marked = depth.fixed_marked.unwrap();
    assert!(stop <= marked && marked < stop * 2.0_f64.powf(1.0 / 6.0) && depth.followed.is_none() && depth.advised == depth.fixed_marked);
}

#[test]
fn points_count_too_and_a_parked_figure_does_not() {
    let (found, _) = of(&shot("[depth]\nsharp = [\"heron\", \"hut\"]\nlook_f_number = 4\n", ""));
    let depth = found.depth.unwrap();
    assert!((depth.farthest.mm - 2500.0).abs() <= 1e-4 && depth.farthest.what == "hut" && depth.nearest.what == "heron");
    // N (S - f) / (s S - f) with S = s / 0.2.
    let look = 4.0 * (depth.focus / 0.2 - 50.0) / (depth.focus - 50.0);
    assert!((depth.look.unwrap() - look).abs() < 1e-9 && depth.advised.unwrap() >= look);
    let (found, _) = of(&shot("[depth]\nsharp = [\"heron\", \"hut\"]\n", "park = [\"heron\"]\n"));
    let depth = found.depth.unwrap();
    assert!((depth.nearest.mm - 2500.0).abs() <= 1e-4 && depth.nearest.what == "hut");
    let (found, _) = of(&shot("", "park = [\"heron\"]\n"));
    assert!(found.depth.unwrap_err().contains("nothing must be sharp"));
}

/// Where focus is on the middle of the ball it needs (s - n) / n or (F - s) / F of f^2 / (c (s - f)), 50 mm either way; nearest is worst.
#[test]
fn followed_focus_needs_the_stop_of_its_worst_frame() {
    let (found, slide) =
        of(&shot("[[focus]]\ncamera = \"camera\"\nchannel = \"focus_distance\"\npulls = [[1, \"heron\"]]\n", "stop = 4\n"));
    let depth = found.depth.unwrap();
    let stop = |i: usize| {
        let s = 2000.0 - slide[i * 1000 + 500];
        2500.0 / (0.025 * (s - 50.0)) * (50.0 / (s - 50.0)).max(50.0 / (s + 50.0))
    };
    let (worst, frame) = (0..97).map(|i| (stop(i), i)).fold((0.0, 0), |a, b| if b.0 > a.0 { b } else { a });
    let (found_stop, found_frame) = depth.followed.unwrap();
    assert!((found_stop - worst).abs() < 1e-3 && (found_frame.0 - 1.0 - frame as f64).abs() < 0.5, "{found_stop} {worst}");
    assert!(found_stop < depth.fixed);
}

/// Metered f/5.6 at 0.5 s with a filter of 2; at f/11 and this magnification, half a T-stop lost.
/// Out-of-focus notes of a shot: what, frames, whether focus followed something else, and whether the short list has it.
fn soft(pulls: &str, stop: f64) -> Vec<(String, f64, f64, bool, bool)> {
    let text =
        shot(&format!("[[focus]]\ncamera = \"camera\"\nchannel = \"focus_distance\"\npulls = {pulls}\n"), &format!("stop = {stop}\n"));
    let wide = stage(0.2).replace("f_numbers = [4, 32]", "f_numbers = [1, 32]");
    let read = |name: &str| Ok(if name == "shot.toml" { text.clone() } else { wide.clone() }.into_bytes());
    let Loaded { stage, shot, .. } = input::parse("shot.toml", &read).unwrap_or_else(|r| panic!("{r}"));
    let report = checked(&stage, &shot);
    let of = |n: &movewright::check::Note| match &n.kind {
        NoteKind::OutOfFocus { what, chosen, last, .. } => {
            let said = movewright::check::words::note(&report.compiled, n);
            assert!(said.contains(&format!("out of focus at f/{stop}")) && said.contains(&format!("to {last} (beauty)")), "{said}");
            Some((what.clone(), n.frame.unwrap().0, n.value.unwrap(), *chosen, !n.asks_nothing()))
        }
        _ => None,
    };
    report.notes.iter().filter_map(of).collect()
}

/// At the stop of the worst frame nothing is soft, a thousandth below it that frame is.
#[test]
fn what_leaves_the_depth_of_field_is_noted_and_at_the_limit_it_is_not() {
    let follows = "[[1, \"heron\"]]";
    let (found, _) = of(&shot(&format!("[[focus]]\ncamera = \"camera\"\nchannel = \"focus_distance\"\npulls = {follows}\n"), "stop = 4\n"));
    let (stop, worst) = found.depth.unwrap().followed.unwrap();
    assert_eq!(soft(follows, stop * (1.0 + 1e-9)), []);
    let found = soft(follows, stop * 0.9995);
    assert!(
        matches!(found.as_slice(), [(what, first, count, false, true)] if what == "heron" && *first <= worst.0 && *count < 20.0),
        "{found:?}"
    );
    // While focus is on the hut the heron is soft on purpose; once it should be on the heron it is not.
    let found = soft("[[1, \"hut\"]]", stop);
    assert_eq!(found, [("heron".to_owned(), 1.0, 97.0, true, false)]);
    assert_eq!(
        soft("[[1, \"hut\"], [20, \"hut\"], [30, \"heron\"]]", stop * 1.0001).iter().map(|n| (n.1, n.3)).collect::<Vec<_>>(),
        [(1.0, true)]
    );
}

/// Another light spoils what was shot; another reading of the same light asks for another exposure.
#[test]
fn changes_of_a_light_are_explained() {
    const LIGHTS: &str = "[light.key]\nf_number = 5.6\nseconds = 0.5\n[light.moon]\nf_number = 2\nseconds = 1\n";
    let of = |text: &str| {
        let Loaded { stage, shot, .. } = load(text).unwrap_or_else(|r| panic!("{r}"));
        movewright::compile::Compiled::compile(stage, shot).unwrap()
    };
    let old = shot(LIGHTS, "light = \"key\"\n");
    let said = |new: &str| {
        let changes = movewright::check::changes::between(&of(&old), &of(new));
        let pass = changes.passes.first().unwrap().clone();
        (pass.good, pass.reasons.join("; "))
    };
    assert_eq!(said(&old), (true, String::new()));
    let (good, why) = said(&old.replace("light = \"key\"", "light = \"moon\""));
    assert!(!good && why.contains("the light is `moon` now, was `key`"), "{why}");
    let (good, why) = said(&old.replace("f_number = 5.6", "f_number = 8"));
    assert!(good && why.contains("light `key` asks for another exposure: f/8 at 0.5 s") && why.contains("was f/5.6"), "{why}");
    assert!(said(&old.replace("f_number = 2\n", "f_number = 4\n")).1.is_empty());
}

#[test]
fn exposure_and_pace_follow_from_the_meter() {
    let light = "[light.key]\nf_number = 5.6\nseconds = 0.5\nfilter_factor = 2\n";
    let (found, _) = of(&shot(light, "stop = 11\n"));
    let m = found.depth.as_ref().unwrap().magnification;
    let ratio = 11.0 * (1.0 + m) / 5.6;
    let exposure = 0.5 * ratio * ratio * 2.0 * 2.0_f64.sqrt();
    let pass = &found.passes[0];
    assert!((pass.exposure.unwrap() - exposure).abs() < 1e-9 && (pass.by_light.unwrap() - 2.0 * exposure).abs() < 1e-9);
    assert!((pass.off.unwrap() - (5.0 / exposure).log2()).abs() < 1e-9 && (pass.shutter.unwrap() - 36.0 * exposure).abs() < 1e-9);
    let (pace, off) = pass.advised.unwrap();
    let slower = pass.by_light.unwrap().max(pass.by_machine.unwrap());
    assert!(slower <= pace && pace < slower + 0.1 + 1e-9 && (10.0 * pace - (10.0 * pace).round()).abs() < 1e-9 && off >= 0.0);
    // The pace holds as it is written; film above a second needs longer.
    let written = shot(light, "stop = 11\n").replace("seconds_per_frame = 10", &format!("seconds_per_frame = {pace}"));
    let Loaded { stage, shot: paced, .. } = load(&written).unwrap();
    assert!(checked(&stage, &paced).within_limits());
    let (film, _) = of(&shot(&light.replace("filter_factor = 2", "filter_factor = 2\nreciprocity = 1.31"), "stop = 11\n"));
    assert!((film.passes[0].exposure.unwrap() - exposure.powf(1.31)).abs() < 1e-9);
    // In dim light the machine waits, in bright light the light does not matter.
    let (bright, _) = of(&shot(&light.replace("0.5", "0.001"), "stop = 4\n"));
    let pass = &bright.passes[0];
    assert!(pass.by_machine > pass.by_light && pass.advised.unwrap().0 >= pass.by_machine.unwrap());
    assert!(of(&shot("", "stop = 11\n")).0.passes[0].exposure.is_none());
}

#[test]
fn what_is_sharp_or_lit_must_exist() {
    let slugs = |shot: &str| -> Vec<(&'static str, u32)> {
        let rejection = load(shot).err().unwrap_or_else(|| panic!("{shot}"));
        rejection.diagnostics().iter().map(|d| (d.code.slug(), d.place.as_ref().unwrap().line)).collect()
    };
    let light = "[light.key]\nf_number = 5.6\nseconds = 0.5\n";
    assert!(load(&shot(light, "light = \"key\"\n")).is_ok());
    assert_eq!(slugs(&shot(light, "light = \"kee\"\n")), [("unknown-light", 13)]);
    assert_eq!(slugs(&shot(&format!("{light}{}", light.replace("key", "sun")), "")), [("unknown-light", 16)]);
    assert_eq!(slugs(&shot(&light.replace("0.5", "0"), "")), [("out-of-range", 12)]);
    assert_eq!(slugs(&shot(&light.replace("seconds", "second"), "")), [("unknown-key", 12)]);
    assert_eq!(slugs(&shot("[depth]\nsharp = [\"hero\"]\n", "")), [("unknown-group", 11)]);
    assert_eq!(slugs(&shot("[depth]\nsharp = [\"camera\"]\n", "")), [("missing-body", 11)]);
    assert_eq!(slugs(&shot("[depth]\nlook_f_number = 0\n", "")), [("out-of-range", 11)]);
}

/// A second pass under its own light, with half an hour before it.
const SECOND: &str = "light = \"key\"\n[[pass]]\nname = \"rods\"\nexposure = \"moving\"\nseconds_per_frame = 6\nshutter = 90\nstop = 16\nlight = \"key\"\nchange_s = 1800\n\
                      filters = \"UV 403, ND\"\nnotes = \"say \\\"rods\\\"\"\n";

#[test]
fn the_day_adds_up() {
    let light = "[light.key]\nf_number = 5.6\nseconds = 0.5\n[day]\nstart = \"23:50\"\n";
    let text = shot(light, &format!("stop = 22\n{SECOND}"));
    let Loaded { stage, shot: loaded, .. } = load(&text).unwrap_or_else(|r| panic!("{r}"));
    let report = checked(&stage, &loaded);
    let found = paces(&report);
    let day = &found.day;
    assert_eq!(day.clock(day.slots[0].start), "23:50:00");
    let mut now = 0.0;
    for (slot, p) in day.slots.iter().zip(&report.passes) {
        let change = if slot.pass == "rods" { 1800.0 } else { 0.0 };
        assert_eq!(slot.start, now);
        now += change + p.program.duration().0;
        assert!((slot.end - now).abs() < 1e-9, "{slot:?}");
        let exposures = slot.parts.iter().find(|(what, _)| *what == "exposures").unwrap().1;
        assert!((exposures - 97.0 * p.program.pass().seconds_per_frame()).abs() < 1e-9 && slot.exposures == 97);
    }
    assert!(day.clock(day.seconds()).starts_with("day 2 0"), "{}", day.clock(day.seconds()));
    // As the list says it, with texts quoted where they need it.
    let list = movewright::output::pass_list::text(&report.compiled, &found, None).unwrap();
    let lines: Vec<&str> = list.lines().collect();
    assert_eq!(lines[0], "pass,light,stop,filters,start,end,exposures,notes");
    assert_eq!(lines[1], format!("beauty,key,22.0,,23:50:00,{},97,", day.clock(day.slots[0].end)));
    let (start, end) = (day.clock(day.slots[1].start), day.clock(day.slots[1].end));
    assert_eq!(lines[2], format!("rods,key,16.0,\"UV 403, ND\",{start},{end},97,\"say \"\"rods\"\"\""));
    // What does not match the picture is said of the second pass, not of the first.
    assert!(found.passes[0].differs.is_empty());
    let differs = &found.passes[1].differs;
    assert!(
        differs.len() == 2 && differs[0].starts_with("stop f/16.0, and f/22.0 in beauty") && differs[1].starts_with("shutter 90 deg"),
        "{differs:?}"
    );
}

/// A held pass has rests and moves between its exposures; one whose frames take what they need is paced by light alone.
#[test]
fn held_passes_add_up_and_their_light_sets_the_pace() {
    let light = "[light.key]\nf_number = 5.6\nseconds = 0.5\n";
    for interval in ["frame", "shortest"] {
        let held = format!("stop = 16\nsettle = 1.5\ninterval = \"{interval}\"\n");
        let text =
            shot(light, &held).replace("exposure = \"moving\"\nseconds_per_frame = 10", "exposure = \"held\"\nseconds_per_frame = 30");
        let Loaded { stage, shot: loaded, .. } = load(&text).unwrap_or_else(|r| panic!("{r}"));
        let report = checked(&stage, &loaded);
        let found = paces(&report);
        let slot = &found.day.slots[0];
        let of = |what: &str| slot.parts.iter().find(|(name, _)| *name == what).unwrap().1;
        assert!((of("exposures") - 97.0 * 15.0).abs() < 1e-9);
        assert!((slot.end - report.passes[0].program.duration().0).abs() < 1e-9);
        // Each of 96 moves is followed by a rest of 1.5 s, and by more in even slots.
        assert!(of("rest between them") >= 96.0 * 1.5 - 1e-6, "{slot:?}");
        let pass = &found.passes[0];
        let (pace, _) = pass.advised.unwrap();
        assert_eq!(pass.own_times, interval == "shortest");
        if pass.own_times {
            assert!(pass.by_machine.is_none() && pass.by_light.unwrap() <= pace && pace < pass.by_light.unwrap() + 0.1 + 1e-9);
        }
    }
}

/// A camera that runs 10 mm a frame past what stands still: 5 mm while the shutter is open, at the focus f / s of that on the film.
#[test]
fn blur_of_a_camera_that_runs_along() {
    let track = "[[track]]\nchannel = \"camera.track\"\nshape = \"natural_cubic\"\nkeys = [[1, -400], [97, 560]]\n";
    let (found, slide) = of(&shot(track, ""));
    let (focal, depth) = (50.0 / 24.9 * 4096.0, found.depth.unwrap());
    let of = |what: &str| found.passes[0].blurs.iter().find(|b| b.what == what).unwrap();
    let expected = focal * 5.0 / depth.focus;
    assert!((of("camera").greatest - expected).abs() < 1e-6 * expected && (of("camera").median - expected).abs() < 1e-6 * expected);
    // The heron comes nearer: it blurs most where it is nearest, up to what its own way across the picture adds.
    let nearest = 2000.0 - slide.iter().fold(f64::MIN, |a, b| a.max(*b));
    let heron = of("heron").greatest;
    assert!(heron > focal * 5.0 / nearest * 0.97 && heron < focal * 5.0 / nearest * 1.1, "{heron}");
    let (held, _) =
        self::of(&shot(track, "settle = 1\n").replace("\"moving\"\nseconds_per_frame = 10", "\"held\"\nseconds_per_frame = 60"));
    assert!(held.passes[0].blurs.is_empty());
}

#[test]
fn slips_of_the_day_are_named() {
    let slugs = |shot: &str| -> Vec<&'static str> {
        load(shot).err().unwrap_or_else(|| panic!("{shot}")).diagnostics().iter().map(|d| d.code.slug()).collect()
    };
    for start in ["7:30", "24:00", "07:60", "0730", "07:30:00", "+7:30"] {
        assert_eq!(slugs(&shot(&format!("[day]\nstart = \"{start}\"\n"), "")), ["out-of-range"], "{start}");
    }
    assert_eq!(slugs(&shot("[day]\n", "")), ["missing-key"]);
    assert_eq!(slugs(&shot("", "change_s = -1\n")), ["out-of-range"]);
    assert_eq!(slugs(&shot("", "change_s = 6e6\n")), ["out-of-range"]);
    assert_eq!(slugs(&shot("", "filters = 403\n")), ["wrong-type"]);
    assert_eq!(slugs(&shot("", "notes = \"\\u001b[2J\"\n")).len(), 1);
}
