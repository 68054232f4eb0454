//! The record of takes: `takes.csv` beside the output folders, one line per take, which only grows.
//!
//! Form: RFC 4180, LF at line ends, the header [`HEADER`]. Invariant: a record is read completely or refused with its line; a line that is added has no hidden character, no text that a spreadsheet would
//! compute, and a take number that its slate and pass have not had. A take belongs to the output folder whose `manifest.json` had this BLAKE3 hash. Limits: [`MOST_BYTES`]; whether a take is good is what somebody said.

use std::path::{Path, PathBuf};

use crate::bounds::{Code, Flaw, MOST_MANIFEST_BYTES, count, counted, is_hidden, visible};
use crate::files::{self, Unreadable};
use crate::time::ExposedFrames;

/// Columns of the record.
pub(crate) const HEADER: [&str; 14] = [
    "slate",
    "pass",
    "take",
    "folder",
    "folder_hash",
    "first_frame",
    "last_frame",
    "lens",
    "stop",
    "filters",
    "haze",
    "home",
    "good",
    "note",
];

/// Name of the record.
pub(crate) const NAME: &str = "takes.csv";

/// Most bytes of a record: a hundred thousand takes.
pub(crate) const MOST_BYTES: u64 = 32 * 1024 * 1024;

/// Most letters of a text.
const MOST_LETTERS: usize = 500;

/// One take.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Take {
    /// Slate; may be empty.
    pub(crate) slate: String,
    /// Pass.
    pub(crate) pass: String,
    /// Number of the take, from 1, within its slate and pass.
    pub(crate) take: u32,
    /// Name of the output folder.
    pub(crate) folder: String,
    /// BLAKE3 of its manifest.
    pub(crate) folder_hash: String,
    /// First and last frame that was exposed.
    pub(crate) frames: [i64; 2],
    /// Lens.
    pub(crate) lens: String,
    /// Stop, as it was given.
    pub(crate) stop: String,
    /// Filters.
    pub(crate) filters: String,
    /// Reading of the haze.
    pub(crate) haze: String,
    /// Counts at the home switches: `camera.track=3 camera.pan=-1`.
    pub(crate) home: String,
    /// Whether it is good.
    pub(crate) good: bool,
    /// Note.
    pub(crate) note: String,
}

impl Take {
    /// The line of the record, with the header before it where the record is empty.
    ///
    /// # Errors
    /// None that these values can cause; passed on from the CSV library.
    pub(crate) fn line(&self, with_header: bool) -> Result<Vec<u8>, csv::Error> {
        let mut csv = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(Vec::new());
        if with_header {
            csv.write_record(HEADER)?;
        }
        let [first, last] = self.frames.map(|frame| frame.to_string());
        let (take, good) = (self.take.to_string(), if self.good { "yes" } else { "no" });
        let (a, b) = (
            [&self.slate, &self.pass, &take, &self.folder, &self.folder_hash, &first, &last],
            [&self.lens, &self.stop, &self.filters, &self.haze, &self.home],
        );
        csv.write_record(a.into_iter().chain(b).map(String::as_str).chain([good, self.note.as_str()]))?;
        csv.into_inner().map_err(|e| csv::Error::from(e.into_error()))
    }
}

/// A text of a take as it may be written.
///
/// # Errors
/// A hidden character, more than [`MOST_LETTERS`] letters, or a beginning that makes a spreadsheet compute the cell.
pub(crate) fn text(field: &str, text: &str) -> Result<String, Flaw> {
    let text = text.trim();
    if let Some(hidden) = text.chars().find(|c| is_hidden(*c)) {
        let found = format!("U+{:04X}", u32::from(hidden));
        let flaw = Flaw::new(Code::HiddenCharacter, field, "a text holds a character that cannot be seen");
        return Err(flaw.found(found, "letters, digits, marks, spaces, punctuation and symbols").help("type the text again"));
    }
    let letters = text.chars().count();
    if letters > MOST_LETTERS {
        let flaw = Flaw::new(Code::UnsuitableText, field, "a text is too long");
        return Err(flaw.found(counted(letters, "character"), format!("at most {MOST_LETTERS}")));
    }
    if text.starts_with(['=', '+', '-', '@']) {
        let flaw = Flaw::new(Code::UnsuitableText, field, "a spreadsheet would take this text for a formula");
        let found = text.chars().take(40).collect::<String>();
        return Err(flaw.found(format!("`{found}`"), "a text that does not begin with =, +, - or @").help("begin with a word"));
    }
    Ok(text.to_owned())
}

/// The next take of a slate and pass.
pub(crate) fn next(takes: &[Take], slate: &str, pass: &str) -> u32 {
    takes.iter().filter(|t| t.slate == slate && t.pass == pass).map(|t| t.take).max().unwrap_or(0).saturating_add(1)
}

/// The takes of a record.
///
/// # Errors
/// The first line that is not one of a record; a record without a line feed at its end, which was cut.
pub(crate) fn parse(name: &str, bytes: &[u8]) -> Result<Vec<Take>, Flaw> {
    if bytes.is_empty() {
        return Ok(Vec::new());
    }
    let wrong = |line: u64, found: String, allowed: &str| {
        Flaw::new(Code::InvalidTakes, "", format!("{name}:{line}: this is not a record of takes"))
            .found(found, allowed)
            .help("correct the line, or move the file away to begin a new record")
    };
    if bytes.last() != Some(&b'\n') {
        let lines = bytes.iter().filter(|b| **b == b'\n').count();
        return Err(wrong(
            u64::try_from(lines).unwrap_or(u64::MAX).saturating_add(1),
            "a last line that is cut".to_owned(),
            "a line feed at its end",
        ));
    }
    let mut csv = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(bytes);
    let mut takes = Vec::new();
    for (i, record) in csv.records().enumerate() {
        let record = record.map_err(|e| wrong(e.position().map_or(1, csv::Position::line), visible(&e.to_string()), "UTF-8 text"))?;
        let line = record.position().map_or(1, csv::Position::line);
        if i == 0 {
            if record.iter().ne(HEADER) {
                let found: String = record.iter().collect::<Vec<_>>().join(",").chars().take(80).collect();
                return Err(wrong(line, format!("`{}`", visible(&found)), &HEADER.join(",")));
            }
            continue;
        }
        let cells: Vec<&str> = record.iter().collect();
        let [slate, pass, take, folder, folder_hash, first, last, lens, stop, filters, haze, home, good, note] = cells.as_slice() else {
            return Err(wrong(line, counted(cells.len(), "cell"), "14 cells"));
        };
        let whole = |text: &str| text.parse::<i64>().map_err(|_| wrong(line, format!("`{}`", visible(text)), "a whole number"));
        let take = whole(take)?;
        let take = u32::try_from(take).ok().filter(|n| *n > 0).ok_or_else(|| wrong(line, format!("take {take}"), "a take from 1 on"))?;
        let good = match *good {
            "yes" => true,
            "no" => false,
            other => return Err(wrong(line, format!("`{}`", visible(other)), "yes or no in the column `good`")),
        };
        let frames = [whole(first)?, whole(last)?];
        if frames[0] > frames[1] {
            return Err(wrong(line, format!("frames {} to {}", frames[0], frames[1]), "the first frame before the last"));
        }
        let own = |text: &&str| (*text).to_owned();
        takes.push(Take {
            slate: own(slate),
            pass: own(pass),
            take,
            folder: own(folder),
            folder_hash: own(folder_hash),
            frames,
            lens: own(lens),
            stop: own(stop),
            filters: own(filters),
            haze: own(haze),
            home: own(home),
            good,
            note: own(note),
        });
    }
    Ok(takes)
}

/// The record beside an output folder.
pub(crate) fn beside(folder: &Path) -> PathBuf {
    folder.parent().unwrap_or(Path::new("")).join(NAME)
}

/// The takes of a file; none where it does not exist.
///
/// # Errors
/// What is no record, or cannot be read.
pub(crate) fn read(path: &Path) -> Result<Vec<Take>, Flaw> {
    let shown = path.display().to_string();
    match files::read(path, MOST_BYTES) {
        Ok(bytes) => parse(&shown, &bytes),
        Err(Unreadable::Missing) => Ok(Vec::new()),
        Err(why) => Err(Flaw::new(Code::UnreadableFile, "", format!("cannot read {shown}: {why}"))),
    }
}

/// The hash by which a take remembers its folder: BLAKE3 of `manifest.json`; `None` where there is none.
#[must_use]
pub(crate) fn hash_of(folder: &Path) -> Option<String> {
    let manifest = files::read(&folder.join("manifest.json"), MOST_MANIFEST_BYTES).ok()?;
    Some(blake3::hash(&manifest).to_hex().to_string())
}

/// What a record says of one pass.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
pub(crate) struct PassRecord {
    /// Pass.
    pub(crate) pass: String,
    /// Good takes of the folder as it is now.
    pub(crate) good_takes: usize,
    /// Takes of it that are not good.
    pub(crate) bad_takes: usize,
    /// Good takes of the folder as it was before.
    pub(crate) stale_takes: usize,
    /// What its good takes cover, as spans.
    pub(crate) frames: Vec<[i64; 2]>,
    /// How many of the frames that the pass exposes lie in them.
    pub(crate) frames_shot: u64,
    /// How many frames the pass exposes: those of a test pass alone, one of a wedge.
    pub(crate) frames_exposed: u64,
}

impl PassRecord {
    /// What the takes of a pass that exposes these frames say; `is_now` is true for takes of the folder as it is.
    #[must_use]
    pub(crate) fn of(pass: &str, exposed: ExposedFrames, takes: &[&Take], is_now: &dyn Fn(&Take) -> bool) -> PassRecord {
        let (now, before): (Vec<&Take>, Vec<&Take>) = takes.iter().filter(|t| t.pass == pass).partition(|t| is_now(t));
        let mut spans: Vec<[i64; 2]> = now.iter().filter(|t| t.good).map(|t| t.frames).collect();
        spans.sort_unstable();
        let mut frames: Vec<[i64; 2]> = Vec::new();
        for [first, last] in spans {
            match frames.last_mut() {
                Some([_, end]) if first <= end.saturating_add(1) => *end = last.max(*end),
                _ => frames.push([first, last]),
            }
        }
        PassRecord {
            pass: pass.to_owned(),
            good_takes: now.iter().filter(|t| t.good).count(),
            bad_takes: now.iter().filter(|t| !t.good).count(),
            stale_takes: before.iter().filter(|t| t.good).count(),
            frames_shot: frames.iter().map(|[first, last]| exposed.between(*first, *last)).sum(),
            frames_exposed: u64::try_from(exposed.count()).unwrap_or(u64::MAX),
            frames,
        }
    }

    /// Whether it is shot, in words.
    #[must_use]
    pub(crate) fn state(&self) -> String {
        match self.good_takes {
            0 => "not shot".to_owned(),
            _ if self.frames_shot >= self.frames_exposed => "shot".to_owned(),
            _ => format!("{} of {} shot", self.frames_shot, count(self.frames_exposed, "frame")),
        }
    }

    /// All of it in words.
    #[must_use]
    pub(crate) fn said(&self) -> String {
        let mut said = self.state();
        if self.good_takes > 0 {
            said.push_str(&format!(", {}", counted(self.good_takes, "good take")));
        }
        if self.bad_takes > 0 {
            said.push_str(&format!(", {}", counted(self.bad_takes, "bad take")));
        }
        if self.stale_takes > 0 {
            said.push_str(&format!("; stale: {} of an older version of the folder", counted(self.stale_takes, "good take")));
        }
        said
    }
}

/// A span of a pass that exposes these frames, in words.
#[must_use]
pub(crate) fn span([first, last]: [i64; 2], exposed: ExposedFrames) -> String {
    let (whole, shot) = (last.abs_diff(first).saturating_add(1), exposed.between(first, last));
    if first == last {
        format!("frame {first}")
    } else if shot == whole {
        format!("frames {first} to {last} ({})", count(whole, "frame"))
    } else {
        format!("frames {first} to {last} ({} exposed)", count(shot, "frame"))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::time::FrameSpan;

    fn take(number: u32, frames: [i64; 2], hash: &str, good: bool) -> Take {
        let text = |t: &str| t.to_owned();
        Take {
            slate: text("12A"),
            pass: text("picture"),
            take: number,
            folder: text("columns"),
            folder_hash: text(hash),
            frames,
            lens: text("35 mm, \"old\""),
            stop: text("22"),
            filters: text("UV 403; ND 0.3"),
            haze: text("14 m"),
            home: text("camera.track=3 camera.pan=-1"),
            good,
            note: text("wind, gust at 40"),
        }
    }

    #[test]
    fn what_is_written_is_read_again() {
        let takes = [take(1, [-5, 96], "aa", true), take(2, [40, 96], "aa", false)];
        let bytes = [takes[0].line(true).unwrap(), takes[1].line(false).unwrap()].concat();
        assert_eq!(parse("takes.csv", &bytes).unwrap(), takes);
        assert_eq!((next(&takes, "12A", "picture"), next(&takes, "12B", "picture"), next(&takes, "12A", "clean")), (3, 1, 1));
    }

    #[test]
    fn a_record_that_was_edited_or_cut_is_refused_with_its_line() {
        let good = take(1, [1, 96], "aa", true).line(true).unwrap();
        let text = String::from_utf8(good.clone()).unwrap();
        for (from, to, line) in [
            ("slate,pass", "pass,slate", 1),
            (",1,columns", ",0,columns", 2),
            (",1,columns", ",one,columns", 2),
            (",yes,", ",maybe,", 2),
            (",1,96,", ",97,96,", 2),
            (",22,", ",", 2),
            ("gust at 40\"\n", "gust at 40\"", 2),
        ] {
            assert!(text.contains(from), "{from}");
            let flaw = parse("takes.csv", text.replacen(from, to, 1).as_bytes()).unwrap_err();
            assert!(flaw.code == "invalid-takes" && flaw.title.starts_with(&format!("takes.csv:{line}:")), "{from}: {flaw}");
        }
        assert_eq!(parse("takes.csv", &[good, vec![0xff, b'\n']].concat()).unwrap_err().code, "invalid-takes");
    }

    #[test]
    fn texts_that_hide_or_compute_are_refused() {
        assert_eq!(text("--note", " a gust, \"strong\" ").unwrap(), "a gust, \"strong\"");
        for (bad, code) in [
            ("=1+1", "unsuitable-text"),
            ("+1", "unsuitable-text"),
            ("-1", "unsuitable-text"),
            ("@x", "unsuitable-text"),
            (" =x", "unsuitable-text"),
            ("a\nb", "hidden-character"),
            ("a\u{202e}b", "hidden-character"),
        ] {
            assert_eq!(text("--note", bad).unwrap_err().code, code, "{bad:?}");
        }
        assert!(text("--note", &"x".repeat(500)).is_ok() && text("--note", &"x".repeat(501)).is_err());
    }

    #[test]
    fn spans_of_good_takes_of_the_folder_as_it_is_are_counted() {
        let takes = [
            take(1, [1, 40], "aa", true),
            take(2, [41, 60], "aa", true),
            take(3, [50, 90], "aa", false),
            take(4, [70, 80], "aa", true),
            take(5, [1, 96], "bb", true),
        ];
        let all: Vec<&Take> = takes.iter().collect();
        let frames = FrameSpan::new(1, 96).unwrap();
        let each = ExposedFrames::new(frames, 1);
        let record = PassRecord::of("picture", each, &all, &|t| t.folder_hash == "aa");
        assert_eq!((record.good_takes, record.bad_takes, record.stale_takes, record.frames_shot), (3, 1, 1, 71));
        assert_eq!(record.frames, [[1, 60], [70, 80]]);
        assert_eq!(record.said(), "71 of 96 frames shot, 3 good takes, 1 bad take; stale: 1 good take of an older version of the folder");
        assert_eq!(PassRecord::of("clean", each, &all, &|_| true).said(), "not shot");
        // Of a test pass its own frames count: 1, 9, ... 89 and no others; of a wedge one. What lies outside of the shot counts for nothing.
        let of = |exposed| PassRecord::of("picture", exposed, &all, &|t| t.folder_hash == "aa");
        let eighth = of(ExposedFrames::new(frames, 8));
        assert_eq!((eighth.frames_shot, eighth.frames_exposed), (9, 12));
        assert!(eighth.said().starts_with("9 of 12 frames shot, 3 good takes"), "{}", eighth.said());
        for (frame, said) in [(60, "shot"), (61, "0 of 1 frame shot"), (70, "shot"), (81, "0 of 1 frame shot")] {
            assert_eq!(of(ExposedFrames::one(frame, frames)).state(), said, "{frame}");
        }
        let later = of(ExposedFrames::new(FrameSpan::new(61, 69).unwrap(), 1));
        assert_eq!((later.frames_shot, later.state()), (0, "0 of 9 frames shot".to_owned()));
    }

    #[test]
    fn a_span_says_how_many_of_its_frames_are_exposed() {
        let frames = FrameSpan::new(1, 96).unwrap();
        assert_eq!(span([1, 96], ExposedFrames::new(frames, 1)), "frames 1 to 96 (96 frames)");
        assert_eq!(span([1, 89], ExposedFrames::new(frames, 8)), "frames 1 to 89 (12 frames exposed)");
        assert_eq!(span([7, 7], ExposedFrames::one(7, frames)), "frame 7");
    }
}
