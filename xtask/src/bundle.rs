//! `cargo xtask bundle`: the plugin as the systems' hosts want it, under target/bundled.

use crate::Failure;
use std::path::PathBuf;

/// `cargo xtask bundle …` with the arguments that follow.
pub fn run(args: &[String]) -> Result<(), Failure> {
    let args = std::iter::once("bundle".to_owned()).chain(args.iter().cloned());
    nice_plug_xtask::main_with_args("cargo xtask", args).map_err(|err| format!("{err:#}").into())
}

/// Builds the bundles of Lintel in release and gives the path of the CLAP one. The working directory
/// is the workspace's root afterwards.
pub fn build() -> Result<PathBuf, Failure> {
    run(&["lintel".into(), "--release".into()])?;
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| "target".into(), PathBuf::from);
    Ok(std::path::absolute(target.join("bundled").join("Lintel.clap"))?)
}
