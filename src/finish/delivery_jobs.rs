//! A job and the deliveries asked for in; a job for each file, and the name of their report, out.

use std::path::PathBuf;

use super::delivery::Delivery;
use super::job::{MasterJob, name_for};
use super::song_list::file_stem;

/// The file whose name the deliveries' names begin with: the output asked for, else the mix.
fn base_of(job: &MasterJob) -> PathBuf {
    let usual = name_for(&job.input, job.layout);
    if job.output == usual { job.input.clone() } else { job.output.clone() }
}

/// A job for each delivery: `<track> (24 bit).wav` beside the output, or as the delivery names its files.
/// Without deliveries the job itself.
pub fn jobs_of(job: &MasterJob, deliveries: &[Delivery]) -> Vec<MasterJob> {
    if deliveries.is_empty() {
        return vec![job.clone()];
    }
    let base = base_of(job);
    let named = |delivery: &Delivery| {
        let mut of_delivery = delivery.applied_to(job);
        let usual = format!("{} ({})", file_stem(&base), delivery.format_words());
        let stem = delivery.file_stem(&usual, &of_delivery);
        of_delivery.output = base.with_file_name(format!("{stem}.{}", of_delivery.layout.extension()));
        of_delivery
    };
    deliveries.iter().map(named).collect()
}

/// The usual name of the report on these files: a page beside them.
pub fn report_path(job: &MasterJob, deliveries: &[Delivery]) -> PathBuf {
    let beside = if deliveries.is_empty() { job.output.clone() } else { name_for(&base_of(job), job.layout) };
    beside.with_extension("html")
}
