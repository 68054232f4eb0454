//! Error codes: the one table of slugs, with what each means, what causes it and what to do.
//!
//! Invariant: a slug is lower-case words joined by hyphens and means one thing, one that a person mends in one way. A slug never changes its meaning: scripts read it. Messages,
//! `fixtures/ERRORS.md` and tests read this table and no other.

/// Declares the codes: name in the source, slug, meaning, cause, cure.
macro_rules! codes {
    ($($name:ident, $slug:literal, $meaning:literal, $cause:literal, $cure:literal;)*) => {
        /// What kind of mistake it is. Shown as `error[slug]`.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[non_exhaustive]
        pub(crate) enum Code {
            $(#[doc = $meaning] $name,)*
        }

        impl Code {
            /// Every code, in the order of the table.
            pub(crate) const ALL: &'static [Code] = &[$(Code::$name),*];

            /// The slug that is shown, for example `unknown-key`.
            #[must_use]
            pub(crate) const fn slug(self) -> &'static str {
                match self { $(Code::$name => $slug),* }
            }

            /// The name in the source, for example `UnknownKey`.
            #[cfg(test)]
            pub(crate) const fn name(self) -> &'static str {
                match self { $(Code::$name => stringify!($name)),* }
            }

            /// What it means, in one line.
            #[must_use]
            pub(crate) const fn meaning(self) -> &'static str {
                match self { $(Code::$name => $meaning),* }
            }

            /// What causes it.
            #[must_use]
            pub(crate) const fn cause(self) -> &'static str {
                match self { $(Code::$name => $cause),* }
            }

            /// What to do, as an instruction that begins with a verb in lower case and has no full stop.
            #[must_use]
            pub(crate) const fn cure(self) -> &'static str {
                match self { $(Code::$name => $cure),* }
            }
        }
    };
}

codes! {
    // Files.
    MissingFile, "missing-file", "A file is missing",
        "the name is misspelled, or the path leads elsewhere", "check the name, and the path from the shot's folder";
    UnreadableFile, "unreadable-file", "A file exists but cannot be read",
        "the system refuses it; the message quotes its reason", "check the permissions and the disk";
    NotAFile, "not-a-file", "A folder, a pipe or a device where a file is expected",
        "the path ends at one", "name a regular file";
    WrongFile, "wrong-file", "A stage file where a shot file is expected, or the other way round",
        "the two names were exchanged", "name the file that the message asks for";
    FileTooLarge, "file-too-large", "A file is too large",
        "more keys, nodes or text than one file may hold", "split the file";
    NotUtf8, "not-utf8", "A file is not UTF-8 text",
        "an editor or a spreadsheet saved it in another encoding", "save the file again as UTF-8";
    EmptyFile, "empty-file", "A file is empty",
        "the file was never saved, or it is the wrong one", "save the file again, or name another";
    PathNotAllowed, "path-not-allowed", "A path that would lead elsewhere on another machine",
        "it is absolute, contains a backslash, or has `..` after a folder", "write a path from the shot's folder";
    InvalidFileName, "invalid-file-name", "The name of a file cannot be written as text",
        "it is not UTF-8, or it holds a character that cannot be seen", "rename the file with letters, digits, marks, spaces, punctuation and symbols";
    InvalidToml, "invalid-toml", "The text is not TOML",
        "a bracket, a quote or a value is missing, or a key is written twice", "correct the line: a key, `=`, and one value behind it";
    UnknownFormat, "unknown-format", "The file has unsupported format",
        "`format` is not 1", "change the line to format = 1 and check the keys; no other format is supported";

    // Keys of a table.
    MissingKey, "missing-key", "A required key or table is missing",
        "it was left out, or its name is misspelled", "add the key that the message names";
    UnknownKey, "unknown-key", "A key that its table does not have",
        "it is misspelled, or belongs to another table", "correct the name, or move the key to its table";
    WrongType, "wrong-type", "A value has the wrong type or shape",
        "for example text where a number is read, or a list with too few entries", "write a value of the allowed type";
    UnknownChoice, "unknown-choice", "A word is not one of the choices",
        "it is misspelled", "write one of them, in quotes";
    KeyDoesNotApply, "key-does-not-apply", "A key has no meaning beside the others of its table",
        "for example `openings` on an mm axis, or `mass` on a deg axis", "remove the key, or change the one that it does not fit";
    ConflictingKeys, "conflicting-keys", "Two keys exclude each other",
        "both are given", "keep one of the two";

    // Names.
    InvalidName, "invalid-name", "Invalid name",
        "it has a capital, a space or another character, or more than 64 characters", "use lower-case letters, digits and `_`, and begin with a letter";
    HiddenCharacter, "hidden-character", "A name holds a character that cannot be seen",
        "a control, direction, zero-width or other format character came with pasted text",
        "remove it, or type the name again: letters, digits, marks, spaces, punctuation and symbols";
    DuplicateName, "duplicate-name", "Two things of one kind have the same name",
        "two groups, axes, channels, passes or columns share a name", "give each its own name";
    UnknownChannel, "unknown-channel", "No such channel",
        "it is misspelled, lacks its group, or a mechanism drives its axis", "name a channel of the stage as group.axis";
    UnknownGroup, "unknown-group", "The stage has no such group",
        "it is misspelled", "name a group as the stage file does";
    UnknownAxis, "unknown-axis", "The stage has no such axis",
        "it is misspelled, or the name is a channel of a mechanism", "name an axis that is described under [[group.axis]]";
    UnknownMotor, "unknown-motor", "The stage has no such motor",
        "it is misspelled", "name a motor of the stage file, or describe this one under [motor.NAME]";
    UnknownLimb, "unknown-limb", "The group has no such limb",
        "it is misspelled, or the limb belongs to another group", "name a limb that is described under [[group.limb]]";
    UnknownPlace, "unknown-place", "A wire ends at a place that does not exist",
        "it is misspelled, or the joint has no name", "name a joint or a limb of the group, `body`, or a point under [point]";
    UnknownLight, "unknown-light", "The shot has no such light",
        "it is misspelled, or a pass names none where there are several", "name a light that is described under [light.NAME]";
    UnknownPass, "unknown-pass", "No such pass",
        "it is misspelled, or the folder was written without it", "name one of the passes that the message lists";

    // Numbers.
    OutOfRange, "out-of-range", "A number lies outside its range, or is not finite",
        "a typing error, or the wrong unit", "write a number in the range that the message gives";
    EmptyRange, "empty-range", "The upper end is not above the lower end",
        "the two ends are swapped or equal", "write the lower end first";
    ZeroLength, "zero-length", "A direction or a rod has no length",
        "all components are zero, or both ends are one point", "write a direction that is not zero, or two different ends";
    HomeOutsideTravel, "home-outside-travel", "The home lies outside the travel",
        "`home` is left out and the travel does not contain 0", "set `home` to a position within the travel";
    TooManySteps, "too-many-steps", "The travel has 2^53 steps or more",
        "the wrong unit in travel, microsteps or gear", "check the units of the travel, the steps and the gear";
    InvalidTorqueTable, "invalid-torque-table", "The torque table cannot be used",
        "it is empty, does not start at 0 rev/min, its speeds do not rise, or its torque does",
        "sort the rows by speed, each speed once";
    TooMany, "too-many", "More of a kind than is allowed",
        "too many axes, joints, passes, copies, keys, columns or rows", "keep fewer than that";
    WrongCount, "wrong-count", "A list or a row has the wrong number of entries",
        "one is missing or too many; in a key file often a decimal comma", "write as many as the message asks for";

    // Time.
    InvalidFrameRate, "invalid-frame-rate", "Not a frame rate",
        "text that is no rate, or a rate out of its range", "write the rate in quotes, such as \"24\" or \"30000/1001\"";
    InvalidFrameSpan, "invalid-frame-span", "Not a valid range of frames",
        "the last frame is before the first, or there are too many frames", "write the first frame, then the last: frames = [1, 96]";
    InvalidTimecode, "invalid-timecode", "Not a timecode of this frame rate",
        "the frame reaches the rate, the label is dropped, or the shape is wrong",
        "count frames from 00 to one less than the rate, as in \"10:00:00:00\"";

    // Keys of a curve.
    NoKeys, "no-keys", "A track, a cycle or a column without a key",
        "an empty list, or blank cells only", "add a key, or remove the list";
    TooFewSamples, "too-few-samples", "A recording has too few samples",
        "one row, or a column that is blank but for one cell", "give two samples or more, or write a constant as one key";
    TimesOutOfOrder, "times-out-of-order", "Rows of a recording are out of order, or two share a time",
        "two recordings were joined, or times were rounded until two are equal", "sort the rows by time, each time once";
    TooFewMarkers, "too-few-markers", "Too few markers for what is asked",
        "one marker, every marker in --body, or a body whose markers are two or lie on a line", "track more markers, or name others in --body";
    TooFewReadings, "too-few-readings", "A measurement of an axis has too few readings",
        "fewer than eight rows, fewer than three positions, or low positions from one side and high ones from the other",
        "measure at the positions that `movewright rig` lists, from both sides";
    UnknownDirection, "unknown-direction", "A direction of approach is not `+` or `-`",
        "it is blank, or another sign or word", "write + if the position rose before the reading, and - if it fell";
    OtherUnit, "other-unit", "A measurement is in another unit than its axis, or does not move",
        "the gauge shows m or inches, or does not follow the axis", "give the readings in mm for mm axes and in deg for deg axes";
    UnknownMarker, "unknown-marker", "The recording has no such marker",
        "it is misspelled, or a coordinate was written behind the name", "name a marker as the header does, without `.x`";
    TooManyGaps, "too-many-gaps", "Too few rows of a recording are complete",
        "markers were hidden for most of the time", "leave out the columns of the marker that is missing most, or track it again";
    NotMillimetres, "not-millimetres", "The positions of a recording look like metres",
        "everything lies within 10 mm", "multiply the positions by 1000";
    KeysOutOfOrder, "keys-out-of-order", "Keys are out of order, or two share a frame",
        "frames do not rise from key to key", "sort them by frame, each frame once";
    CornerWithoutBlend, "corner-without-blend", "A corner that no motor can follow",
        "`blend = 0` with a shape that has corners", "write the number of frames on each side over which to round the corner";
    CornersOverlap, "corners-overlap", "Rounded corners overlap",
        "`blend` or `ease` is more than half the distance between two keys", "reduce it, or move the keys apart";
    TimeRunsBackwards, "time-runs-backwards", "A retime runs backwards",
        "the choreography frames of its keys decrease", "write choreography frames that never decrease; two equal ones hold";
    BeatTooLong, "beat-too-long", "The keys of a cycle cover one beat or more",
        "a key at beat 1 repeats the key at beat 0", "remove the last key: the curve returns to the first by itself";

    // Key files.
    MissingColumn, "missing-column", "A key file or a recording lacks a column",
        "the first column is not `frame`, or the track's channel has no column", "correct the header, or add the column";
    MissingFrame, "missing-frame", "A row of a key file or recording has values but no frame or time",
        "the first cell is blank", "write the row's frame, or remove the row";
    NotANumber, "not-a-number", "A cell of a key file or recording is not a finite number",
        "text, a decimal comma, or NaN", "write a number with a decimal point, or leave the cell blank";

    // References between parts.
    CircularReference, "circular-reference", "`copy` or `like` forms a circle",
        "a chain of `copy` or `like` returns to its start", "remove one link of the circle";
    MissingChannel, "missing-channel", "A copy needs a channel that its target lacks",
        "it is driven in `from`, and `to` has no channel of that name", "copy to a group with these channels, or drive the target by tracks";
    WrongUnit, "wrong-unit", "An axis or a channel has the wrong unit",
        "mm is needed and deg found, or the reverse", "name another, or change its unit";
    DrivenTwice, "driven-twice", "An axis or a channel is driven twice",
        "two mechanisms, or an aim and a layer, drive the same", "keep one of them";
    MissingLens, "missing-lens", "A lens is required and the stage has none",
        "the camera's group has no joints or no [group.lens]", "give its group joints and a [group.lens]";
    MissingFilmPlane, "missing-film-plane", "The place of the film plane is required and the lens does not give it",
        "the lens has no `film_plane`, so a distance from the pupil is none on the focus scale", "measure from the entrance pupil back to the film plane, and write `film_plane` under [group.lens]";
    UnsuitableFocusChannel, "unsuitable-focus-channel", "A channel cannot follow focus",
        "it is not in mm, shares its mechanism with other channels, or moves the camera or a target", "give the focus motor a channel of its own in mm, mostly by a mechanism of kind \"table\"";
    FoldingDistortion, "folding-distortion", "The distortion of a lens folds within its picture",
        "coefficients fitted to points near the middle only, or copied for another focal length",
        "fit the coefficients to points up to the corners of the picture, or leave the higher ones away";
    NotInPicture, "not-in-picture", "The picture never shows anything that an axis moves",
        "the camera looks elsewhere, or the figures have no place in front of it", "aim the camera at the figures, or compare in steps";
    MissingBody, "missing-body", "The target's group has no place on the stage",
        "it has no joints", "give its group joints, or aim at a point of the stage";
    UnsuitableAimChannel, "unsuitable-aim-channel", "A channel cannot aim the camera",
        "it does not turn exactly one joint of the camera, or is named twice", "name two channels of turning joints of the camera's own chain";
    TargetMovesWithCamera, "target-moves-with-camera", "The target moves with the camera that aims at it",
        "a channel of the aim moves the target", "aim at something that the camera does not carry";

    // Mechanisms.
    ImpossibleMechanism, "impossible-mechanism", "A mechanism that cannot work with these dimensions",
        "for example a wire through its joint, actuators side by side, or an inertia that no body has",
        "measure again, and check the units";
    ImpossibleHome, "impossible-home", "A mechanism cannot be built with its axes at home",
        "the homes lie beyond what it reaches", "change the homes, or measure the mechanism again";

    // The move.
    NoCurve, "no-curve", "The keys of a channel or axis make no finite curve",
        "keys so close together or values so large that the numbers overflow", "move the keys apart, or make their values smaller";
    Jump, "jump", "The position or velocity of a channel jumps",
        "a custom signal whose pieces do not meet", "join its pieces so that position and velocity are continuous";
    OutOfReach, "out-of-reach", "A mechanism cannot take the place that its channels ask for",
        "a joint, plate, limb or drum beyond its geometry", "change the keys around the frame, or the mechanism's dimensions";
    NoLength, "no-length", "The pendulum of a hanging figure has no length",
        "a hoist that pulls the figure up into its hanging point, or the wrong sign of `length_per_unit`",
        "change the keys of the channel that changes the length, or correct `length` and `length_per_unit`";
    CannotAim, "cannot-aim", "A target cannot be aimed at",
        "it is behind, beside or inside the camera, or outside the travel of the aimed axes", "move the target or the camera, or widen the travel";
    CannotFocus, "cannot-focus", "A target cannot be brought into focus",
        "it is behind the camera, or not beyond the focal length from the film plane", "move the target or the camera, or pull focus to something else";
    RopeLayer, "rope-layer", "A drum's rope passes from one layer to the next within the move",
        "there the drum's speed would jump", "keep the move within one layer, or use a drum that holds the rope in one";
    TooManyPieces, "too-many-pieces", "A curve or a cycle needs too many pieces",
        "a cycle or drift far too fast for the length of the shot, or copies of copies", "give it a longer period, photograph fewer frames, or copy less";
    BudgetExceeded, "budget-exceeded", "The shot would take more work than is allowed",
        "mostly the wrong unit: a value, a limit or a number of frames far too large or too small",
        "check the values that the message names, reduce layers, keys, frames or passes, or add --large if the size is intended";
    OtherStage, "other-stage", "A shot, channel or group belongs to another stage",
        "it was made with one stage and used with another", "take channels and groups from the stage that the shot is compiled for";
    NoPlan, "no-plan", "An axis cannot be moved from rest to rest within its limits",
        "a limit or a distance far beyond any machine", "check the units of the axis's limits and keys";
    DoesNotFit, "does-not-fit", "A move between two held exposures takes longer than there is time",
        "the axis needs more seconds than the pace leaves", "run `movewright check`, which gives the slowest move and the time available";
    TooClose, "too-close", "Something comes too close on the move to start or on the return home",
        "the way there or back passes another body or an obstacle", "run `movewright check`, which names what comes close";
    NoPosition, "no-position", "An axis or a body has no position there that can be written",
        "the instant lies beyond the move, or the number is too large", "run `movewright check`, and correct what it reports";

    StandsElsewhere, "stands-elsewhere", "An axis is more than a step off the place at which the pass broke off",
        "steps were lost, the axis ran on after the fault, or the pass broke off at another frame", "reference the axes again, correct `--frames`, or add `--accept` to start from there";

    // The call and the output.
    LimitExceeded, "limit-exceeded", "A limit is exceeded, so nothing is written",
        "the shot asks for more than the stage allows", "run `movewright check`, and change the shot";
    NotOurs, "not-ours", "The output path holds something that movewright did not write",
        "the name belongs to another file or folder; it is left untouched", "name another path";
    OutputDiffers, "output-differs", "The output folder holds a different result",
        "the stage or the shot has changed since", "add --replace, or name another folder";
    WriteFailed, "write-failed", "The output could not be written",
        "the system refused; the message quotes its reason", "check the disk, the permissions and the path";
    PortUnavailable, "port-unavailable", "A port of this machine cannot be served",
        "another program uses it, or the system refused", "leave out --port, or name another";
    NotAFolder, "not-a-folder", "A folder is expected",
        "the name is misspelled, it is a file, or it is `-` (standard output)", "name a folder";
    InvalidManifest, "invalid-manifest", "manifest.json cannot be understood",
        "it was edited or cut, or another program wrote it", "compile the folder again";
    FileChanged, "file-changed", "A file has changed since it was written",
        "it was edited, replaced or damaged since", "run `movewright verify` on the folder";
    InvalidTakes, "invalid-takes", "The record of takes cannot be read",
        "it was edited or cut, or another program wrote it", "correct the line that the message names, or move the file away to begin a new record";
    DuplicateTake, "duplicate-take", "A take is on the record already",
        "its slate, pass and number are those of an earlier take", "leave out --take, or give a number that is free";
    UnsuitableText, "unsuitable-text", "A text of a take cannot be written",
        "it has more than 500 characters, or begins with =, +, - or @, which a spreadsheet takes for a formula", "shorten it, or begin with a word";
    InvalidLog, "invalid-log", "A log of positions cannot be read",
        "its header, a frame, an axis or a number is wrong, or a line is missing; the message says which", "correct the log, or export it again";
}

impl core::fmt::Display for Code {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.pad(self.slug())
    }
}

/// A slug reads as one in a comparison, for scripts and tests that have it as text.
impl PartialEq<&str> for Code {
    fn eq(&self, slug: &&str) -> bool {
        self.slug() == *slug
    }
}

impl Code {
    /// The reference as Markdown: every code with its meaning, cause and cure. `fixtures/ERRORS.md` is this text.
    #[must_use]
    pub(crate) fn reference() -> String {
        let mut text = "# Every error code\n\n\
            Written by `movewright schema --errors` from the table that the program itself uses. A message reads `error[unknown-key]: ...`. A code keeps its meaning, so\n\
            scripts may rely on it.\n\n\
            | code | meaning | cause | what to do |\n| --- | --- | --- | --- |\n"
            .to_owned();
        for code in Code::ALL {
            let cells = [code.meaning(), code.cause(), code.cure()].map(|cell| cell.replace('|', "\\|"));
            text.push_str(&format!("| `{code}` | {} |\n", cells.join(" | ")));
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn slugs_are_plain_words_and_no_text_is_missing_or_shared() {
        let mut seen = BTreeSet::new();
        for code in Code::ALL {
            let slug = code.slug();
            assert!(slug.split('-').all(|w| !w.is_empty() && w.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit())), "{slug}");
            assert!(slug.starts_with(|c: char| c.is_ascii_lowercase()), "{slug}");
            // The name in the source is the slug with its words joined.
            assert_eq!(code.name().to_lowercase(), slug.replace('-', ""), "{slug}");
            for text in [code.meaning(), code.cause(), code.cure()] {
                assert!(!text.is_empty() && !text.ends_with('.'), "{slug}: {text:?}");
            }
            assert!(seen.insert(slug) && seen.insert(code.meaning()), "{slug} appears twice");
        }
    }
}
