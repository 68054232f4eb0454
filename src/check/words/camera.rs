//! What the camera cannot do, in words.

/// Less time between exposures than it needs; with the shutter angle that leaves it, where one does.
#[must_use]
pub(super) fn closed_too_short(angle: Option<f64>, [value, allowed, when]: [&str; 3]) -> String {
    let cure = angle
        .map_or(String::new(), |angle| format!("; a shutter of up to {:.1} deg leaves that at this pace", (10.0 * angle).floor() / 10.0));
    format!("the camera: the shutter is closed for {value} after {when}; the camera needs {allowed} between exposures{cure}")
}

/// Longer exposures than it makes.
#[must_use]
pub(super) fn open_too_long([value, allowed]: [&str; 2]) -> String {
    format!("the camera: each frame is exposed for {value}; the camera makes exposures of up to {allowed}")
}
