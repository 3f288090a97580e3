use crate::{End, Failure};
pub fn run(_: &crate::args::CheckArgs) -> Result<End, Failure> {
    Ok(End::Done)
}
