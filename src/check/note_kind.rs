//! What a note says, and its name in files.
//!
//! Invariant: a name never changes its meaning: scripts read it.

use super::clearance::Nearest;
use super::violation::Limit;
use crate::program::Leg;
use crate::program::hanging::hung::Unknown;
use crate::stage::{ChannelId, GroupId};
use crate::time::{FrameTime, Seconds};

/// More openings per exposure than this flicker (the sampling theorem).
pub(crate) const FLICKER: f64 = 0.5;

/// What a note says.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub(crate) enum NoteKind {
    /// A curve leaves the range of its keys by `value`.
    Overshoot {
        /// Range of the keys.
        keys: [f64; 2],
        /// How far it goes.
        to: f64,
    },
    /// Acceleration steps by `value`, unit/frame2.
    AccelerationStep,
    /// Only cycles drive a channel and their amounts are 0: it stands at 0, `value` from home.
    AtZero {
        /// The channel.
        channel: ChannelId,
    },
    /// An axis never moves in the photographed span.
    NeverMoves {
        /// True where something drives it all the same.
        driven: bool,
    },
    /// An axis reverses; `value` is its backlash.
    Reversals {
        /// How often.
        times: usize,
        /// Backlash in steps.
        steps: f64,
    },
    /// Torque cannot be checked.
    TorqueUnchecked,
    /// A rounded corner misses its key by `value`.
    BlendedCorner,
    /// A step, or the backlash, is worth `value` pixels.
    Pixels {
        /// The camera's group.
        camera: GroupId,
        /// True for the backlash.
        backlash: bool,
    },
    /// Some gap is neither proven nor disproven: the search for it has used up its budget of work, or nothing bounds it.
    GapsNotProven,
    /// Nothing is said of what holds a load that hangs without power.
    BrakeNotStated,
    /// A load that hangs drops without power.
    Drops,
    /// Without power an axis coasts beyond the end of its travel.
    CoastsTooFar {
        /// Name of the pass.
        pass: String,
        /// What there is to the end, in the axis's unit.
        room: f64,
    },
    /// Whether an axis has room to stop is not known: the budget of work is used up.
    StoppingUnknown {
        /// Name of the pass.
        pass: String,
    },
    /// The load is heavy beside the rotor.
    InertiaRatio,
    /// An axis runs within a band of resonance of its motor during exposures.
    Resonance {
        /// Name of the pass.
        pass: String,
        /// Full steps/s.
        band: [f64; 2],
    },
    /// An axis makes so few and so large steps within an exposure that they show one by one.
    Grain {
        /// Name of the pass.
        pass: String,
        /// Group of the camera.
        camera: GroupId,
        /// Steps within the exposure of the first such frame.
        steps: i64,
        /// Such frames.
        frames: usize,
    },
    /// What the wires of a figure carry is not known.
    HangUnknown {
        /// Name of the pass.
        pass: String,
        /// The figure.
        group: GroupId,
    },
    /// A wire carries more than its breaking load divided by the design factor.
    WireOverloaded {
        /// Name of the pass.
        pass: String,
        /// The figure.
        group: GroupId,
        /// Which of its wires.
        wire: usize,
        /// N.
        allowed: f64,
    },
    /// A motor that stalls pulls with more than the breaking load of a wire.
    StallBreaks {
        /// The figure.
        group: GroupId,
        /// N.
        breaking: f64,
    },
    /// The swing of a figure is not known.
    SwingUnknown {
        /// Name of the pass.
        pass: String,
        /// The figure.
        group: GroupId,
        /// Why.
        why: Unknown,
    },
    /// How long a held pass must rest for a figure to hang still is not known.
    SettlingUnknown {
        /// Name of the pass.
        pass: String,
        /// The figure.
        group: GroupId,
        /// Why.
        why: Unknown,
    },
    /// Pixels were looked at in one of so many frames.
    PixelsSampled {
        /// Of how many frames one was looked at.
        stride: u64,
    },
    /// Openings of a turning gobo: `value` per frame at most.
    Openings {
        /// Per exposure at most.
        per_exposure: f64,
    },
    /// The rope of a drum stretches by `value` mm.
    RopeStretch {
        /// At this height, mm.
        height: f64,
    },
    /// Near a singular place of a mechanism a figure is uncertain by `value` per cent of its limit; of a position, by so many steps.
    NearSingular {
        /// Which figure.
        limit: Limit,
    },
    /// A held pass leaves figures out that a moving pass photographs, and no moving pass leaves them out with the same shutter.
    SharpPlate {
        /// Name of the held pass.
        held: String,
        /// Name of the moving pass.
        moving: String,
    },
    /// A figure covers another in the picture at mid-exposure of `value` frames.
    Covers {
        /// The camera's group.
        camera: GroupId,
        /// The figure that is nearer.
        front: GroupId,
        /// The figure that is covered, in part or as a whole.
        behind: GroupId,
    },
    /// A figure, or its rods, is not wholly in the picture in `value` frames, and was in others.
    LeavesPicture {
        /// The camera's group.
        camera: GroupId,
        /// The figure's group.
        figure: GroupId,
        /// True for its rods.
        rods: bool,
    },
    /// Haze takes `value` stops of a figure's light.
    LostInHaze {
        /// The figure's group.
        figure: GroupId,
    },
    /// Something that must be sharp is not, in `value` frames that were looked at.
    OutOfFocus {
        /// Names of the passes.
        passes: Vec<String>,
        /// What.
        what: String,
        /// Their stop.
        stop: Option<f64>,
        /// The last such frame.
        last: i64,
        /// True where focus follows something else in all of them.
        chosen: bool,
    },
    /// A figure is only `value` pixels large.
    FewPixels {
        /// The camera's group.
        camera: GroupId,
        /// The figure's group.
        figure: GroupId,
    },
    /// Film back and picture make pixels of the aspect `value`.
    PixelAspect {
        /// The camera's group.
        camera: GroupId,
        /// What the stage file says.
        said: f64,
    },
    /// A lens breathes and nothing says how it is focused: the focal length stays `value` mm.
    BreathingUnused {
        /// The camera's group.
        camera: GroupId,
    },
    /// A focus of `value` mm lies outside the lens's table.
    FocusOutsideBreathing {
        /// The camera's group.
        camera: GroupId,
        /// The last frame of those.
        last: FrameTime,
    },
    /// Trials of fixes have used up their budget: some violations may have fixes that were not tried.
    FixesNotTried,
    /// Something comes too near on the move to start or the return home.
    WayClearance {
        /// Name of the pass.
        pass: String,
        /// Which leg.
        leg: Leg,
        /// What comes near.
        nearest: Nearest,
        /// When, in seconds of the leg.
        at: Seconds,
    },
}

impl NoteKind {
    /// Its name in files.
    #[must_use]
    pub(crate) fn name(&self) -> &'static str {
        match self {
            NoteKind::Overshoot { .. } => "overshoot",
            NoteKind::AccelerationStep => "acceleration_step",
            NoteKind::AtZero { .. } => "at_zero",
            NoteKind::NeverMoves { .. } => "never_moves",
            NoteKind::Reversals { .. } => "reversals",
            NoteKind::TorqueUnchecked => "torque_unchecked",
            NoteKind::BlendedCorner => "blended_corner",
            NoteKind::Pixels { .. } => "pixels",
            NoteKind::Openings { per_exposure } if *per_exposure > FLICKER => "flicker",
            NoteKind::Openings { .. } => "openings",
            NoteKind::RopeStretch { .. } => "rope_stretch",
            NoteKind::NearSingular { .. } => "near_singular",
            NoteKind::SharpPlate { .. } => "sharp_plate",
            NoteKind::BrakeNotStated => "brake_not_stated",
            NoteKind::Drops => "drops",
            NoteKind::CoastsTooFar { .. } => "coasts_too_far",
            NoteKind::StoppingUnknown { .. } => "stopping_not_computed",
            NoteKind::InertiaRatio => "inertia_ratio",
            NoteKind::Resonance { .. } => "resonance",
            NoteKind::Grain { .. } => "grain",
            NoteKind::HangUnknown { .. } => "hang_not_computed",
            NoteKind::WireOverloaded { .. } => "wire_overloaded",
            NoteKind::StallBreaks { .. } => "stall_breaks_wire",
            NoteKind::SwingUnknown { .. } => "swing_not_computed",
            NoteKind::SettlingUnknown { .. } => "settling_not_computed",
            NoteKind::GapsNotProven => "gaps_not_proven",
            NoteKind::PixelsSampled { .. } => "pixels_sampled",
            NoteKind::Covers { .. } => "covers",
            NoteKind::LeavesPicture { .. } => "leaves_picture",
            NoteKind::LostInHaze { .. } => "lost_in_haze",
            NoteKind::OutOfFocus { .. } => "out_of_focus",
            NoteKind::FewPixels { .. } => "few_pixels",
            NoteKind::PixelAspect { .. } => "pixel_aspect",
            NoteKind::BreathingUnused { .. } => "breathing_unused",
            NoteKind::FocusOutsideBreathing { .. } => "focus_outside_breathing",
            NoteKind::FixesNotTried => "fixes_not_tried",
            NoteKind::WayClearance { leg: Leg::MoveToStart, .. } => "move_to_start_clearance",
            NoteKind::WayClearance { leg: Leg::ReturnHome, .. } => "return_home_clearance",
        }
    }
}
