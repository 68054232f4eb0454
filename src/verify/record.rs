//! What the manifest of a folder says, as this room reads it.
//!
//! Read by structures of its own, not by those that wrote it, so that a slip in writing is seen here. Keys it does not know are left alone.

use serde::Deserialize;

use super::haze_record::HazeRecord;
use super::used::{TorqueRecord, Used};

/// The manifest.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct Record {
    pub(super) format: u32,
    pub(super) kind: String,
    pub(super) written_by: String,
    pub(super) shot: String,
    pub(super) stage: String,
    pub(super) source: String,
    pub(super) within_limits: bool,
    pub(super) violations: Vec<String>,
    #[serde(flatten)]
    pub(super) used: Used,
    #[serde(default)]
    pub(super) haze: Option<HazeRecord>,
    #[serde(default)]
    pub(super) hand_off: Option<HandOffRecord>,
    pub(super) clock: ClockRecord,
    pub(super) passes: Vec<PassRecord>,
    #[serde(default)]
    pub(super) fits: Vec<FitRecord>,
    pub(super) columns: Vec<ColumnRecord>,
    pub(super) rounding: String,
    pub(super) cautions: Vec<String>,
    pub(super) files: Vec<FileRecord>,
}

/// How the hand-off files count frames.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct HandOffRecord {
    pub(super) first_frame: i64,
    pub(super) samples_per_frame: u32,
    pub(super) shutter: Option<f64>,
}

/// The shot's clock.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct ClockRecord {
    pub(super) frame_rate: String,
    pub(super) first_frame: i64,
    pub(super) last_frame: i64,
    pub(super) timecode_start: String,
    pub(super) run_up_frames: u32,
    pub(super) run_down_frames: u32,
}

/// A frame exposed several times.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct WedgeRecord {
    frame: i64,
    stops: Vec<f64>,
}

impl WedgeRecord {
    pub(super) fn shown(&self) -> String {
        shown(self.frame, &self.stops)
    }
}

/// A wedge as messages have it.
pub(super) fn shown(frame: i64, stops: &[f64]) -> String {
    let stops: Vec<String> = stops.iter().map(f64::to_string).collect();
    format!("frame {frame} at {} stops", stops.join(", "))
}

/// One pass.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct PassRecord {
    pub(super) name: String,
    pub(super) exposure: String,
    pub(super) seconds_per_frame: f64,
    pub(super) shutter: f64,
    pub(super) settle: f64,
    #[serde(default)]
    pub(super) interval: Option<String>,
    #[serde(default)]
    pub(super) every: Option<u32>,
    #[serde(default)]
    pub(super) wedge: Option<WedgeRecord>,
    #[serde(default)]
    pub(super) shaping: Option<String>,
    #[serde(default)]
    pub(super) move_to_start_s: Option<f64>,
    #[serde(default)]
    pub(super) first_opening_s: Option<f64>,
    pub(super) duration_s: f64,
    pub(super) parked: Vec<String>,
    pub(super) steps: String,
    pub(super) units: String,
    #[serde(default)]
    pub(super) rows: Option<RowsRecord>,
}

/// The rows of a pass.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct RowsRecord {
    pub(super) file: String,
    pub(super) rate: String,
    pub(super) rate_hz: f64,
    pub(super) rows: u64,
    pub(super) move_to_start_s: f64,
    pub(super) first_opening_s: f64,
    pub(super) duration_s: f64,
    #[serde(default)]
    pub(super) part: Option<PartRecord>,
}

/// A part of a pass.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct PartRecord {
    pub(super) first_frame: i64,
    pub(super) last_frame: i64,
    pub(super) run_up_frames: u32,
    pub(super) run_down_frames: u32,
    #[serde(default)]
    pub(super) opens_s: Vec<f64>,
}

/// One column.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct ColumnRecord {
    pub(super) axis: String,
    pub(super) unit: String,
    pub(super) steps_per_unit: f64,
    pub(super) home: f64,
    pub(super) travel: [f64; 2],
    pub(super) max_velocity: f64,
    pub(super) max_acceleration: f64,
    pub(super) max_jerk: f64,
    pub(super) max_step_rate: Option<f64>,
    #[serde(default)]
    pub(super) backlash: Option<f64>,
    #[serde(default)]
    pub(super) brake: Option<bool>,
    #[serde(default)]
    pub(super) torque: Option<TorqueRecord>,
}

/// The curve near one recording.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct FitRecord {
    pub(super) channel: String,
    pub(super) within: f64,
    pub(super) ends: String,
    pub(super) samples: usize,
    pub(super) knots: Vec<[f64; 4]>,
}

/// One file.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct FileRecord {
    pub(super) path: String,
    pub(super) bytes: u64,
    pub(super) blake3: String,
}
