//! Marks that were tracked in the pictures of a run: `frame,point,x,y`, a row for each frame and mark.
//!
//! Form: CSV with exactly these columns; frames are whole, places are pixels of the picture as `PASS.rods.csv` counts them: to the right and down from its top left corner. A mark is called after
//! what it is on, `GROUP`, `GROUP.LIMB` or a point of the stage; where there are several on one thing, `#` and anything behind the name tells them apart.
//! Invariant: a mark has one place in a frame; rows may come in any order. Limits: [`MOST`] rows.

use std::collections::BTreeMap;
use std::io::Read;

use super::log::LogError;
use super::rows::Input;

/// Most rows of a table.
pub(super) const MOST: usize = 200_000;

/// Pixels from the corner beyond which a place is no place in a picture.
const FURTHEST: f64 = 1e6;

/// Places of marks, by frame and name.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Marks {
    /// Name of the table.
    pub(crate) name: String,
    /// Right and down, pixels.
    pub(crate) at: BTreeMap<(i64, String), [f64; 2]>,
}

impl Marks {
    /// Reads a table.
    ///
    /// # Errors
    /// Another header, a cell that is no number, a mark with two places in a frame, too many rows.
    pub(crate) fn read<R: Read>(input: Input<R>) -> Result<Marks, LogError> {
        let name = input.name;
        let wrong = |line: u64, what: String| LogError { log: name.clone(), line, what };
        let short = |text: &str| text.chars().take(60).collect::<String>();
        let mut table = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(input.reader);
        let header: Vec<String> =
            table.headers().map_err(|e| wrong(0, format!("cannot be read: {e}")))?.iter().map(str::to_owned).collect();
        if header.iter().map(|h| h.trim_start_matches('\u{feff}')).ne(["frame", "point", "x", "y"]) {
            return Err(wrong(1, format!("the header is `{}`, expected `frame,point,x,y`", short(&header.join(",")))));
        }
        let mut at = BTreeMap::new();
        for row in table.records() {
            let row = row.map_err(|e| {
                wrong(
                    e.position().map_or(0, csv::Position::line),
                    "the row does not have four cells, expected `frame,point,x,y`".to_owned(),
                )
            })?;
            let line = row.position().map_or(0, csv::Position::line);
            let cell = |i: usize| row.get(i).unwrap_or_default();
            let frame =
                cell(0).parse::<i64>().map_err(|_| wrong(line, format!("the frame is `{}`, expected a whole number", short(cell(0)))))?;
            if cell(1).is_empty() {
                return Err(wrong(line, "the point has no name".to_owned()));
            }
            let place = |i: usize, column: &str| {
                let plain = cell(i).bytes().all(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.' | b'e' | b'E'));
                let number = cell(i).parse::<f64>().ok().filter(|x| plain && x.abs() <= FURTHEST);
                number
                    .ok_or_else(|| wrong(line, format!("{column} is `{}`, expected pixels from -{FURTHEST} to {FURTHEST}", short(cell(i)))))
            };
            let seen = [place(2, "x")?, place(3, "y")?];
            if at.len() == MOST {
                return Err(wrong(line, format!("there are more than {MOST} rows; track fewer marks, or every second frame")));
            }
            if at.insert((frame, cell(1).to_owned()), seen).is_some() {
                return Err(wrong(line, format!("`{}` has two places in frame {frame}", short(cell(1)))));
            }
        }
        Ok(Marks { name, at })
    }

    /// What a mark is on: its name up to `#`.
    #[must_use]
    pub(crate) fn owner(mark: &str) -> &str {
        mark.split('#').next().unwrap_or(mark).trim_end()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Marks, LogError> {
        Marks::read(Input { name: "tracked.csv".into(), reader: std::io::Cursor::new(text.as_bytes().to_vec()) })
    }

    #[test]
    fn marks_by_frame_and_name() {
        let marks = read("frame,point,x,y\n2,heron_a#eye,1.5,-2\n1,heron_a#eye,1,2\n").unwrap();
        assert_eq!(marks.at.len(), 2);
        assert_eq!(marks.at[&(2, "heron_a#eye".to_owned())], [1.5, -2.0]);
        assert_eq!(Marks::owner("heron_a.wing#tip"), "heron_a.wing");
        assert_eq!(Marks::owner("heron_a"), "heron_a");
    }

    #[test]
    fn wrong_tables_are_refused_with_their_line() {
        for (text, what) in [
            ("", "tracked.csv, line 1: the header is ``, expected `frame,point,x,y`"),
            ("frame,point,y,x\n", "tracked.csv, line 1: the header is `frame,point,y,x`, expected `frame,point,x,y`"),
            ("frame,point,x,y\n1.5,a,1,2\n", "tracked.csv, line 2: the frame is `1.5`, expected a whole number"),
            ("frame,point,x,y\n1,,1,2\n", "tracked.csv, line 2: the point has no name"),
            ("frame,point,x,y\n1,a,nan,2\n", "tracked.csv, line 2: x is `nan`, expected pixels from -1000000 to 1000000"),
            ("frame,point,x,y\n1,a,1,1000000.5\n", "tracked.csv, line 2: y is `1000000.5`, expected pixels from -1000000 to 1000000"),
            ("frame,point,x,y\n1,a,1\n", "tracked.csv, line 2: the row does not have four cells, expected `frame,point,x,y`"),
            ("frame,point,x,y\n1,a,1,2\n1,a,1,2\n", "tracked.csv, line 3: `a` has two places in frame 1"),
        ] {
            assert_eq!(read(text).unwrap_err().to_string(), what);
        }
        assert!(read("frame,point,x,y\n1,a,1000000,-1e6\n").is_ok(), "at the limit");
    }
}
