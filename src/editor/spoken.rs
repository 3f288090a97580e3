//! What is painted, for those who do not see it: every figure and text is a labelled node of the
//! accessibility tree, "name: value".

use crate::numbers::NONE;
use egui::accesskit::Role;
use egui::{Rect, Response, Sense, Ui, WidgetInfo};

/// Adds the figure `value` called `name`, which is painted at `rect`, as a node of the accessibility tree.
/// It takes no focus.
pub fn figure(ui: &Ui, rect: Rect, name: &str, value: &str) -> Response {
    let response = ui.interact(rect, ui.scope_id().with(("figure", name)), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, spoken(name, value)));
    response
}

/// Name and value as one text; the dash of a figure that does not exist yet as words.
fn spoken(name: &str, value: &str) -> String {
    if value.starts_with(NONE) { format!("{name}: not measured") } else { format!("{name}: {value}") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numbers::number;

    #[test]
    fn a_figure_that_does_not_exist_is_said_in_words() {
        assert_eq!(spoken("PLR", &format!("{} LU", number(f64::NAN, 1))), "PLR: not measured");
        assert_eq!(spoken("PLR", &format!("{} LU", number(13.7, 1))), "PLR: 13.7 LU");
    }
}
