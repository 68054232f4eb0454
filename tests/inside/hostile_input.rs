//! Hostile input: no text, no end, no sense. Nothing panics, nothing is read without bounds, whatever the bytes.

use std::fs;
use std::path::Path;

use movewright::input;
use proptest::prelude::*;

use crate::inside::wrong_files::{Files, KEYS, SHOT, STAGE, check_text, told};

#[test]
fn files_that_are_no_text_or_not_there() {
    let dir = tempfile::tempdir().unwrap();
    let load = |name: &str| input::load(&dir.path().join(name)).unwrap_err();
    assert_eq!(told(&load("shot.toml")), [("missing-file", String::new(), 0, 0)]);
    assert_eq!(told(&load("no_folder/shot.toml")), [("missing-file", String::new(), 0, 0)]);
    fs::create_dir(dir.path().join("folder.toml")).unwrap();
    assert_eq!(told(&load("folder.toml")), [("not-a-file", String::new(), 0, 0)]);
    assert_eq!(told(&input::load(Path::new("..")).unwrap_err()), [("not-a-file", String::new(), 0, 0)]);
    fs::write(dir.path().join("empty.toml"), "\u{feff} \n").unwrap();
    assert_eq!(told(&load("empty.toml")), [("empty-file", "empty.toml".into(), 1, 1)]);
    fs::write(dir.path().join("latin.toml"), b"format = 1\nname = \"h\xe9ron\"\n").unwrap();
    let rejection = load("latin.toml");
    assert_eq!(told(&rejection), [("not-utf8", "latin.toml".into(), 2, 10)]);
    assert!(rejection.to_string().contains("the byte 0xe9 at byte offset 20"), "{rejection}");
    assert_eq!(rejection.sources().get(0).unwrap().path(), dir.path().canonicalize().unwrap().join("latin.toml"));
    assert_eq!(told(&input::load_stage(&dir.path().join("latin.toml")).unwrap_err()), [("not-utf8", "latin.toml".into(), 2, 10)]);
    let folder = Files::right().with_change("shot.toml", "stage = \"stage.toml\"", "stage = \"folder.toml\"");
    fs::write(dir.path().join("shot.toml"), &folder.0["shot.toml"]).unwrap();
    fs::write(dir.path().join("keys.csv"), KEYS).unwrap();
    assert_eq!(told(&load("shot.toml")), [("not-a-file", "shot.toml".into(), 3, 9)]);
}

/// A sparse file costs no disk: its length alone is over the cap.
#[test]
fn a_file_over_the_cap_is_not_read() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("shot.toml");
    fs::File::create(&path).unwrap().set_len(movewright::bounds::MOST_BYTES + 1).unwrap();
    let rejection = input::load(&path).unwrap_err();
    assert_eq!(told(&rejection), [("file-too-large", String::new(), 0, 0)]);
    // Over a megabyte only the first syntax error is kept: there can be one for every byte.
    let rejection = Files::right().with("shot.toml", "=\n".repeat(1024 * 1024)).parse().unwrap_err();
    assert_eq!(told(&rejection), [("invalid-toml", "shot.toml".into(), 1, 1)]);
    let long = format!("{SHOT}#{}", "x".repeat(16 * 1024 * 1024));
    assert_eq!(told(&Files::right().with("shot.toml", long).parse().unwrap_err()), [("file-too-large", "shot.toml".into(), 1, 1)]);
}

#[test]
fn nesting_without_end_is_one_kind_of_mistake_and_no_crash() {
    for hostile in [
        format!("{SHOT}x = {}\n", "[".repeat(10_000)),
        format!("{SHOT}x = {}{}\n", "[".repeat(10_000), "]".repeat(10_000)),
        format!("{SHOT}x = {}\n", "{a=".repeat(10_000)),
        format!("{SHOT}{}x = 1\n", "a.".repeat(10_000)),
        format!("{SHOT}[{}x]\n", "a.".repeat(10_000)),
        format!("{SHOT}x = \"{}\n", "\\u".repeat(10_000)),
    ] {
        let rejection = Files::right().with("shot.toml", hostile).parse().unwrap_err();
        assert!(rejection.diagnostics().iter().all(|d| d.code == "invalid-toml"), "{rejection}");
    }
}

/// Files with a hundred thousand mistakes: all are listed, fifty are printed. (Quadratic work would not come to an end here.)
#[test]
fn a_hundred_thousand_mistakes_are_all_listed_and_fifty_printed() {
    const MANY: usize = 100_000;
    let rows: String = (0..MANY).map(|i| format!("{i},x,\n")).collect();
    let keys = format!("frame,heron_b.roll,heron_a.roll\n{rows}{MANY},0,0\n");
    let unknown: String =
        (0..MANY).map(|i| format!("[[drift]]\nchannel = \"nobody_{i}.turn\"\nseed = 1\namplitude = 1\nperiod = 9\n")).collect();
    let one_line = format!("keys = [{}]", "[1, \"\u{e4}\"], ".repeat(MANY));
    for files in [
        Files::right().with("keys.csv", keys),
        Files::right().with("shot.toml", format!("{SHOT}{unknown}")),
        Files::right().with("shot.toml", format!("{SHOT}{}", "a = = 1\n".repeat(MANY))),
        Files::right().with_change("shot.toml", "keys = [[1, 0.0], [120, 1800.0], [336, 7400.0]]", &one_line),
    ] {
        let rejection = files.parse().unwrap_err();
        assert!(rejection.diagnostics().len() >= MANY, "{}", rejection.diagnostics().len());
        let text = rejection.to_string();
        assert_eq!(text.matches("error[").count(), 50);
        assert!(text.ends_with(&format!("and {} more", rejection.diagnostics().len() - 50)));
        assert!(text.len() < 1_000_000, "{}", text.len());
    }
}

/// One file of keys used by many tracks: its keys are counted each time.
#[test]
fn keys_of_all_tracks_together_are_bounded() {
    let rows: String = (0..100_000).map(|i| format!("{i},0,0\n")).collect();
    let tracks = "[[track]]\nkeys = \"keys.csv\"\n".repeat(60);
    let files = Files::right().with("keys.csv", format!("frame,heron_b.roll,heron_a.roll\n{rows}"));
    let rejection = files.with("shot.toml", format!("{SHOT}{tracks}")).parse().unwrap_err();
    // Each use counts 2 x 100,001, the track above them 3: the fiftieth use, the shot's own with it, is over ten million with its second column.
    assert_eq!(told(&rejection), [("too-many", "shot.toml".into(), 39 + 2 * 49, 8)]);
}

/// Copies one behind the other, and closed to a circle.
#[test]
fn long_chains_of_copies_come_to_an_end() {
    const MANY: usize = 400;
    let groups: String = (0..MANY).map(|i| format!("[[group]]\nname = \"g{i}\"\nlike = \"heron_a\"\n")).collect();
    let copies: String = (1..MANY).map(|i| format!("[[copy]]\nfrom = \"g{}\"\nto = \"g{i}\"\n", i - 1)).collect();
    let files = Files::right().with("stage.toml", format!("{STAGE}{groups}"));
    assert!(files.with("shot.toml", format!("{SHOT}{copies}")).parse().is_ok());
    let round = format!("{copies}[[copy]]\nfrom = \"g{}\"\nto = \"g0\"\n", MANY - 1);
    let rejection = files.with("shot.toml", format!("{SHOT}{round}")).parse().unwrap_err();
    assert_eq!(rejection.diagnostics().len(), MANY);
    assert!(rejection.diagnostics().iter().all(|d| d.code == "circular-reference"));
    let too_many = "[[copy]]\nfrom = \"heron_a\"\nto = \"heron_b\"\n".repeat(5000);
    let rejection = files.with("shot.toml", format!("{SHOT}{too_many}")).parse().unwrap_err();
    assert_eq!(told(&rejection), [("too-many", "shot.toml".into(), 24, 1)]);
}

#[test]
fn groups_that_take_over_without_end_are_stopped_at_the_cap() {
    let axis = STAGE.split("[[group.axis]]").nth(2).unwrap().split("[[group]]").next().unwrap();
    let mut stage =
        format!("format = 1\nname = \"m\"\n[motor.frame57]\nfull_steps_per_rev = 200\n[[group]]\nname = \"g0\"\n[[group.axis]]{axis}");
    for i in 1..4000 {
        let own = axis.replace("roll", &format!("roll_{i}"));
        stage.push_str(&format!("[[group]]\nname = \"g{i}\"\nlike = \"g{}\"\n[[group.axis]]{own}", i - 1));
    }
    let rejection = Files::right().with("stage.toml", stage).parse().unwrap_err();
    assert!(told(&rejection).iter().any(|t| t.0 == "too-many"), "{rejection}");
}

#[test]
fn a_file_cut_anywhere_never_panics() {
    for (name, text) in [("shot.toml", SHOT), ("stage.toml", STAGE), ("keys.csv", KEYS)] {
        for end in 0..text.len() {
            if let Err(rejection) = Files::right().with(name, &text.as_bytes()[..end]).parse() {
                assert!(!rejection.to_string().is_empty());
                check_text(&rejection);
            }
        }
    }
}

/// One change of a file: what is at a place becomes something else.
fn mutate(bytes: &mut Vec<u8>, place: usize, kind: u8, byte: u8) {
    if bytes.is_empty() {
        return;
    }
    let at = place % bytes.len();
    match kind {
        0 => bytes[at] = byte,
        1 => bytes.insert(at, byte),
        2 => {
            bytes.remove(at);
        }
        3 => bytes.truncate(at),
        4 => {
            let again = bytes[at..].to_vec();
            bytes.extend(again);
        }
        _ => {
            // Bytes with a meaning find more than random ones.
            let signs = b"[]{}=,.\"'#\n\r\\-+_e0\xEF\xBB\xBF";
            bytes[at] = signs[usize::from(byte) % signs.len()];
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, ..ProptestConfig::default() })]

    #[test]
    fn random_changes_of_right_files_never_panic(
        changes in proptest::collection::vec((0..3_usize, any::<usize>(), 0..9_u8, any::<u8>()), 1..12)
    ) {
        let mut files = Files::right();
        for (file, place, kind, byte) in changes {
            let name = ["shot.toml", "stage.toml", "keys.csv"][file];
            mutate(files.0.get_mut(name).unwrap(), place, kind, byte);
        }
        if let Err(rejection) = files.parse() {
            prop_assert!(!rejection.diagnostics().is_empty());
            prop_assert!(!rejection.render(true).is_empty());
            let places: Vec<_> = rejection.diagnostics().iter().map(|d| d.place.as_ref().map(|p| (p.file, p.line, p.column))).collect();
            prop_assert!(places.is_sorted());
        }
    }

    #[test]
    fn random_bytes_never_panic(shot in proptest::collection::vec(any::<u8>(), 0..200), keys in "[0-9a-z_,\"\r\n .;-]{0,200}") {
        let files = Files::right().with("keys.csv", format!("frame,heron_b.roll,heron_a.roll\n{keys}"));
        let _ = files.parse().map_err(|e| e.to_string());
        let _ = files.with("stage.toml", shot.clone()).parse().map_err(|e| e.to_string());
        let _ = files.with("shot.toml", shot).parse().map_err(|e| e.to_string());
    }
}
