//! What the paint and CG departments take over: poses, scene, support rods in the picture.
//!
//! Invariant: everything here is read from the compiled curves; nothing is written where the stage does not say where its bodies are.

pub(crate) mod gltf;
pub(crate) mod outline;
pub(crate) mod poses;
pub(crate) mod rods;
pub(crate) mod tables;

use super::staged::{StagedError, StagedFolder};
use crate::compile::Compiled;
use poses::{PoseError, Size, posed};
use tables::Kind;

/// What is handed over.
#[derive(Debug, Clone, Copy)]
pub(crate) struct HandOff<'a> {
    /// The compiled shot.
    pub compiled: &'a Compiled,
    /// Write camera, figures and scene at full size too.
    pub full_size: bool,
}

impl HandOff<'_> {
    /// Adds the files to a folder; none where the stage does not say where its bodies are. `step` is called before each file with its name.
    ///
    /// # Errors
    /// A body without a pose; whatever the system says.
    pub(crate) fn add<E: From<StagedError> + From<PoseError>>(
        &self,
        folder: &mut StagedFolder,
        step: &mut dyn FnMut(&str),
    ) -> Result<(), E> {
        let HandOff { compiled, full_size } = *self;
        let (stage, shot) = (compiled.stage(), compiled.shot());
        if stage.bodies().is_empty() {
            return Ok(());
        }
        if rods::any(stage) {
            for pass in shot.passes() {
                let guide = rods::guide(compiled, pass)?;
                let name = format!("{}.rods.csv", pass.name());
                step(&name);
                folder.file(&name, |out| guide.write_lines(out).map_err(E::from))?;
                let name = format!("{}.rod_outlines.csv", pass.name());
                step(&name);
                folder.file(&name, |out| guide.write_outlines(out).map_err(E::from))?;
            }
        }
        let bodies = posed(compiled)?;
        let sizes: &[(Size, &str)] = if full_size { &[(Size::Model, ""), (Size::Full, ".full_size")] } else { &[(Size::Model, "")] };
        for (size, mark) in sizes {
            for (kind, stem) in [(Kind::Cameras, "camera"), (Kind::Figures, "bodies")] {
                if bodies.iter().all(|b| b.body.lens().is_some() != (kind == Kind::Cameras)) {
                    continue;
                }
                let name = format!("{stem}{mark}.csv");
                step(&name);
                folder.file(&name, |out| tables::write(out, stage, shot, &bodies, kind, *size).map_err(E::from))?;
            }
            let name = format!("scene{mark}.glb");
            step(&name);
            folder.file(&name, |out| gltf::write(out, stage, shot, &bodies, *size).map_err(E::from))?;
        }
        Ok(())
    }
}
