//! The undo history: steps of one or more parameter changes, and of the settings slots.

use super::slots::Slots;

/// Steps kept.
const MAX_STEPS: usize = 200;

/// The change of one parameter within a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ParamChange {
    /// Index of the parameter.
    pub index: usize,
    /// Value before the step.
    pub old: f32,
    /// Value after the step.
    pub new: f32,
}

/// The change of the slots within a step.
#[derive(Clone, Debug, PartialEq)]
pub struct SlotsChange {
    /// What was done: the name of the button.
    pub name: &'static str,
    /// Slots before the step.
    pub old: Slots,
    /// Slots after the step.
    pub new: Slots,
}

/// Changes that are undone and redone together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct UndoStep {
    /// Parameters that changed.
    pub params: Vec<ParamChange>,
    /// The slots, if they changed.
    pub slots: Option<SlotsChange>,
}

/// Steps that can be undone and redone, and the gestures under way.
#[derive(Debug, Default)]
pub struct UndoHistory {
    pub(super) done: Vec<UndoStep>,
    pub(super) undone: Vec<UndoStep>,
    /// The step that is being recorded.
    pub(super) recording: UndoStep,
    /// Parameters with an open gesture, by index.
    pub(super) open: Vec<usize>,
    /// Nesting depth of groups: above 0, several gestures become one step.
    pub(super) group_depth: usize,
    /// Parameter moved by wheel or arrow keys, and the time of its last change, s.
    pub(super) nudged: Option<(usize, f64)>,
}

impl UndoHistory {
    /// Ends the step if no gesture and no group is open; a step without a change is dropped.
    pub(super) fn close_step(&mut self) {
        if !self.open.is_empty() || self.group_depth > 0 {
            return;
        }
        let mut step = std::mem::take(&mut self.recording);
        step.params.retain(|change| change.old != change.new);
        step.slots = step.slots.filter(|change| change.old != change.new);
        if step.params.is_empty() && step.slots.is_none() {
            return;
        }
        self.undone.clear();
        self.done.push(step);
        if self.done.len() > MAX_STEPS {
            self.done.remove(0);
        }
    }
}
