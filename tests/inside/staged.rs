//! The staged writer by itself: files and folders are whole or as they were, and what is not ours stays.

use std::fs;
use std::io;
use std::path::Path;

use movewright::output::Written;
use movewright::output::staged::{OurFile, OurFolder, StagedError, StagedFolder, file};

/// Somebody who fills a file, and may fail.
fn failed() -> StagedError {
    StagedError::Io { doing: "cannot write", path: "rows".into(), error: io::Error::other("the lamp went out") }
}

fn put(target: &Path, text: &str, replace: bool) -> Result<Written, StagedError> {
    file(target, &OurFile::rows("t_s,a"), replace, |f| f.write_all(text.as_bytes()).map_err(|_| failed()))
}

fn broken(target: &Path) -> Result<Written, StagedError> {
    file(target, &OurFile::rows("t_s,a"), true, |f| f.write_all(b"t_s,half").map_err(|_| failed()).and(Err(failed())))
}

#[test]
fn files_are_whole_or_as_they_were_and_only_the_same_rows_are_replaced_without_a_request() {
    let dir = tempfile::tempdir().unwrap();
    let target = dir.path().join("marsh at dusk, reiher.csv");
    assert!(broken(&target).is_err());
    assert!(fs::read_dir(dir.path()).unwrap().next().is_none(), "nothing is left over");
    assert_eq!(put(&target, "t_s,a\n0,1\n", false).unwrap(), Written::New);
    assert!(broken(&target).is_err());
    assert_eq!(fs::read_to_string(&target).unwrap(), "t_s,a\n0,1\n");
    assert_eq!(put(&target, "t_s,a\n0,2\n", false).unwrap(), Written::Replaced);
    assert_eq!(fs::read_to_string(&target).unwrap(), "t_s,a\n0,2\n");
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
    // Somebody's work; the second begins as rows do.
    for (name, text) in [("notes.txt", "lamp 3 flickers"), ("tide.csv", "t_s,water level\n0,1.2\n")] {
        let notes = dir.path().join(name);
        fs::write(&notes, text).unwrap();
        assert!(matches!(put(&notes, "t_s,a\n", false), Err(StagedError::NotOurs { .. })));
        assert!(broken(&notes).is_err());
        assert_eq!(fs::read_to_string(&notes).unwrap(), text);
        assert_eq!(put(&notes, "t_s,a\n", true).unwrap(), Written::Replaced);
        assert_eq!(fs::read_to_string(&notes).unwrap(), "t_s,a\n");
    }
    assert!(matches!(put(dir.path(), "t_s,a\n", true), Err(StagedError::NotAFile { .. })));
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 3);
}

#[test]
fn folders_of_rows_are_whole_or_as_they_were_and_nothing_else_in_them_is_lost() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("axes");
    let put = |target: &Path, header: &str, row: &str, replace: bool| {
        let ours = OurFolder::Rows(vec![("heron.rise".to_owned(), header.to_owned())]);
        let mut staged = StagedFolder::beside(target, ours, replace)?;
        staged.file("heron.rise.csv", |f| write!(f, "{header}\n{row}").map_err(|_| failed()))?;
        if row == "fails" {
            return Err(failed());
        }
        staged.put_in_place()
    };
    let read = || fs::read_to_string(folder.join("heron.rise.csv")).unwrap();
    assert_eq!(put(&folder, "t_s,heron.rise", "", false).unwrap(), Written::New);
    assert!(put(&folder, "t_s,heron.rise", "fails", true).is_err());
    assert_eq!(put(&folder, "t_s,heron.rise", "0,1\n", false).unwrap(), Written::Replaced);
    assert_eq!(read(), "t_s,heron.rise\n0,1\n");
    // Other columns: on request.
    let other = "t_s,heron.rise,shutter";
    assert!(matches!(put(&folder, other, "", false), Err(StagedError::Differs { .. })));
    assert_eq!(read(), "t_s,heron.rise\n0,1\n");
    assert_eq!(put(&folder, other, "", true).unwrap(), Written::Replaced);
    assert_eq!(read(), "t_s,heron.rise,shutter\n");
    // Anything else: never.
    for (name, text) in [("plan.txt", "x"), ("tide.csv", "t_s,water level\n0,1\n")] {
        fs::write(folder.join(name), text).unwrap();
        assert!(matches!(put(&folder, other, "", true), Err(StagedError::Foreign { .. })));
        assert_eq!(fs::read_to_string(folder.join(name)).unwrap(), text);
        fs::remove_file(folder.join(name)).unwrap();
    }
    let notes = dir.path().join("notes.txt");
    fs::write(&notes, "lamp 3").unwrap();
    assert!(matches!(put(&notes, other, "", true), Err(StagedError::NotAFolder { .. })));
    let mut names: Vec<_> = fs::read_dir(dir.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    names.sort();
    assert_eq!(names, ["axes", "notes.txt"]);
}

#[cfg(unix)]
#[test]
fn a_link_stays_a_link_and_what_it_leads_to_is_judged() {
    let dir = tempfile::tempdir().unwrap();
    let (real, link) = (dir.path().join("rows.csv"), dir.path().join("link.csv"));
    fs::write(&real, "").unwrap();
    std::os::unix::fs::symlink(&real, &link).unwrap();
    assert_eq!(put(&link, "t_s,a\n", false).unwrap(), Written::Replaced);
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink() && fs::read(&real).unwrap() == b"t_s,a\n");
    fs::write(&real, "t_s,water level\n").unwrap();
    assert!(matches!(put(&link, "t_s,a\n", false), Err(StagedError::NotOurs { .. })));
    fs::remove_file(&real).unwrap();
    assert!(matches!(put(&link, "t_s,a\n", true), Err(StagedError::NotAFile { .. })), "leads nowhere");
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink() && !real.exists());
}
