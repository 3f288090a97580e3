//! The parameters for the length of one frame: gestures of drags, wheel, keys and clicks, each one
//! step of undo.

use super::controls::{Controls, index};
use super::slots::Slots;
use super::undo::{ParamChange, SlotsChange, UndoHistory, UndoStep};
use crate::params::{self, from_toml, to_toml};
use crate::settings::Settings;

/// Time without a change after which a gesture of wheel or arrow keys ends, s.
pub const NUDGE_TIMEOUT_S: f64 = 0.5;

/// Controls with undo.
pub struct ParamEditor<'a> {
    controls: &'a mut dyn Controls,
    history: &'a mut UndoHistory,
    /// Time of the frame, s.
    now_s: f64,
}

impl<'a> ParamEditor<'a> {
    /// `now_s` is the time of the frame on any steady clock, s.
    pub fn new(controls: &'a mut dyn Controls, history: &'a mut UndoHistory, now_s: f64) -> Self {
        let mut editor = Self { controls, history, now_s };
        if editor.history.nudged.is_some_and(|(_, last)| now_s - last > NUDGE_TIMEOUT_S) {
            editor.end_nudge();
        }
        editor
    }

    /// The value at `index`, in its unit.
    pub fn get(&self, index: usize) -> f32 {
        self.controls.get(index)
    }

    /// The value of the parameter called `id`.
    pub fn value(&self, id: &str) -> f32 {
        self.get(index(id))
    }

    /// Whether the switch called `id` is on.
    pub fn is_on(&self, id: &str) -> bool {
        self.value(id) >= 0.5
    }

    /// Begins a gesture.
    pub fn begin(&mut self, index: usize) {
        if self.history.open.contains(&index) {
            return;
        }
        self.end_nudge();
        let value = self.get(index);
        if !self.history.recording.params.iter().any(|change| change.index == index) {
            self.history.recording.params.push(ParamChange { index, old: value, new: value });
        }
        self.history.open.push(index);
        self.controls.begin(index);
    }

    /// Sets a value within a gesture.
    pub fn set(&mut self, index: usize, value: f32) {
        if let Some(change) = self.history.recording.params.iter_mut().find(|change| change.index == index) {
            change.new = value;
        }
        self.controls.set(index, value);
    }

    /// Ends a gesture.
    pub fn end(&mut self, index: usize) {
        if !self.history.open.contains(&index) {
            return;
        }
        self.history.open.retain(|open| *open != index);
        self.controls.end(index);
        self.history.close_step();
    }

    /// A whole gesture: a click, a typed value.
    pub fn set_once(&mut self, index: usize, value: f32) {
        if self.get(index) == value {
            return;
        }
        self.begin(index);
        self.set(index, value);
        self.end(index);
    }

    /// Toggles a switch.
    pub fn toggle(&mut self, id: &str) {
        let index = index(id);
        self.set_once(index, if self.get(index) >= 0.5 { 0.0 } else { 1.0 });
    }

    /// A change by wheel or arrow key: those that follow within [`NUDGE_TIMEOUT_S`] are one gesture.
    pub fn nudge(&mut self, index: usize, value: f32) {
        if self.history.nudged.is_none_or(|(nudged, _)| nudged != index) {
            self.begin(index);
        }
        self.history.nudged = Some((index, self.now_s));
        self.set(index, value);
    }

    /// Ends the gesture of wheel or arrow keys.
    pub fn end_nudge(&mut self) {
        if let Some((index, _)) = self.history.nudged.take() {
            self.end(index);
        }
    }

    /// True while a gesture of wheel or arrow keys is open.
    pub fn is_nudging(&self) -> bool {
        self.history.nudged.is_some()
    }

    /// Makes several gestures one step.
    pub fn group(&mut self, gestures: impl FnOnce(&mut Self)) {
        self.end_nudge();
        self.history.group_depth += 1;
        gestures(self);
        self.history.group_depth -= 1;
        self.history.close_step();
    }

    /// All values.
    pub fn settings(&self) -> Settings {
        let mut settings = Settings::default();
        for (index, param) in params::all().iter().enumerate() {
            param.set(&mut settings, self.get(index));
        }
        settings
    }

    /// Sets every parameter except the monitoring switches; one step.
    pub fn load(&mut self, settings: &Settings) {
        self.group(|editor| {
            for (index, param) in params::all().iter().enumerate() {
                if !param.is_monitoring() {
                    editor.set_once(index, param.get(settings));
                }
            }
        });
    }

    /// Sets every parameter except the monitoring switches without a step of undo: for a try that
    /// [`record`](Self::record) may keep.
    pub fn put(&mut self, settings: &Settings) {
        self.end_nudge();
        for (index, param) in params::all().iter().enumerate() {
            if !param.is_monitoring() {
                self.put_one(index, param.get(settings));
            }
        }
    }

    /// Sets one parameter without a step of undo.
    pub fn put_one(&mut self, index: usize, value: f32) {
        if self.get(index) != value {
            self.replay(index, value);
        }
    }

    /// Number of steps that can be undone.
    pub fn steps_done(&self) -> usize {
        self.history.done.len()
    }

    /// Makes what was [put](Self::put) one step of undo, from `before` to `after`, as if it had been done when
    /// there were `at` steps.
    pub fn record(&mut self, before: &Settings, after: &Settings, at: usize) {
        let changes = params::all().iter().enumerate().filter(|(_, param)| !param.is_monitoring());
        let changes = changes.map(|(index, param)| ParamChange {
            index,
            old: param.get(before),
            new: param.get(after),
        });
        let params: Vec<ParamChange> = changes.filter(|change| change.old != change.new).collect();
        if !params.is_empty() {
            let at = at.min(self.history.done.len());
            self.history.done.insert(at, UndoStep { params, slots: None });
            self.history.undone.clear();
        }
    }

    /// Puts the slot `to` (0 = A, 1 = B) in use; one step.
    pub fn switch_slot(&mut self, slots: &mut Slots, to: usize) {
        if to != slots.slot {
            self.exchange(slots, ["slot A", "slot B"][to.min(1)], to);
        }
    }

    /// Exchanges the settings of the slots; one step.
    pub fn swap_slots(&mut self, slots: &mut Slots) {
        self.exchange(slots, "swap slots", slots.slot);
    }

    /// Copies the settings of the slot in use to the other one; one step.
    pub fn copy_slot(&mut self, slots: &mut Slots) {
        self.end_nudge();
        let name = ["copy A to B", "copy B to A"][slots.slot.min(1)];
        let new = Slots { slot: slots.slot, other_slot: to_toml(&self.settings()) };
        self.group(|editor| editor.record_slots(slots, name, new));
    }

    /// Loads the other slot and keeps the present settings as those of the other one.
    fn exchange(&mut self, slots: &mut Slots, name: &'static str, slot: usize) {
        self.end_nudge();
        let loaded = from_toml(&slots.other_slot).unwrap_or_default();
        let new = Slots { slot, other_slot: to_toml(&self.settings()) };
        self.group(|editor| {
            editor.record_slots(slots, name, new);
            editor.load(&loaded);
        });
    }

    fn record_slots(&mut self, slots: &mut Slots, name: &'static str, new: Slots) {
        let old = std::mem::replace(slots, new.clone());
        self.history.recording.slots = Some(SlotsChange { name, old, new });
    }

    /// Sets the parameters of the stage whose switch is `switch_id` to their defaults, one step.
    /// Switches, the order of the stages and monitoring stay as they are.
    pub fn reset(&mut self, switch_id: &str) {
        let group = params::all()[index(switch_id)].group;
        self.group(|editor| {
            for (index, param) in params::all().iter().enumerate() {
                // The bands of the EQ have groups of their own.
                let in_stage = param.group == group
                    || switch_id == "eq_on" && param.id.starts_with("eq") && param.group.starts_with("EQ");
                let stays = param.id == "order" || param.is_monitoring() || param.id.ends_with("_on");
                if in_stage && !stays {
                    editor.set_once(index, param.default());
                }
            }
        });
    }

    /// Undoes the last step; `slots` as they are saved.
    pub fn undo(&mut self, slots: &mut Slots) {
        self.end_nudge();
        if let Some(step) = self.history.done.pop() {
            step.params.iter().rev().for_each(|change| self.replay(change.index, change.old));
            if let Some(change) = &step.slots {
                slots.clone_from(&change.old);
            }
            self.history.undone.push(step);
        }
    }

    /// Redoes the step that was undone last; `slots` as they are saved.
    pub fn redo(&mut self, slots: &mut Slots) {
        self.end_nudge();
        if let Some(step) = self.history.undone.pop() {
            step.params.iter().for_each(|change| self.replay(change.index, change.new));
            if let Some(change) = &step.slots {
                slots.clone_from(&change.new);
            }
            self.history.done.push(step);
        }
    }

    fn replay(&mut self, index: usize, value: f32) {
        self.controls.begin(index);
        self.controls.set(index, value);
        self.controls.end(index);
    }

    /// What the next undo and the next redo change: the button of the slots, names of parameters, or their
    /// number.
    pub fn next_steps(&self) -> (Option<String>, Option<String>) {
        let name = |step: &UndoStep| match step.params.as_slice() {
            _ if step.slots.is_some() => step.slots.as_ref().map_or("", |change| change.name).to_owned(),
            [one] => params::all()[one.index].name.to_owned(),
            [one, two] => format!("{}, {}", params::all()[one.index].name, params::all()[two.index].name),
            many => format!("{} settings", many.len()),
        };
        (self.history.done.last().map(name), self.history.undone.last().map(name))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::controls::MemoryControls;

    fn with(
        memory: &mut MemoryControls,
        history: &mut UndoHistory,
        now_s: f64,
        act: impl FnOnce(&mut ParamEditor),
    ) {
        act(&mut ParamEditor::new(memory, history, now_s));
    }

    #[test]
    fn a_drag_is_one_step() {
        let (mut memory, mut history) = (MemoryControls::default(), UndoHistory::default());
        let drive = index("drive");
        with(&mut memory, &mut history, 0.0, |editor| {
            editor.begin(drive);
            (1..=40).for_each(|v| editor.set(drive, v as f32 * 0.1));
            editor.end(drive);
            assert_eq!(editor.next_steps(), (Some("drive".to_owned()), None));
            editor.undo(&mut Slots::default());
        });
        assert_eq!((memory.settings, memory.open_gestures.len()), (Settings::default(), 0));
        with(&mut memory, &mut history, 0.0, |editor| editor.redo(&mut Slots::default()));
        assert_eq!(memory.settings.limiter.drive, 4.0);
    }

    #[test]
    fn wheel_clicks_in_quick_succession_are_one_gesture_with_a_timeout() {
        let (mut memory, mut history) = (MemoryControls::default(), UndoHistory::default());
        let drive = index("drive");
        for n in 1..=5 {
            with(&mut memory, &mut history, f64::from(n) * 0.1, |editor| editor.nudge(drive, n as f32));
        }
        assert_eq!(memory.open_gestures, [drive]);
        with(&mut memory, &mut history, 0.5 + NUDGE_TIMEOUT_S + 0.01, |_| {});
        assert_eq!((memory.open_gestures.len(), memory.ended_gestures), (0, 1));
        with(&mut memory, &mut history, 2.0, |editor| editor.undo(&mut Slots::default()));
        assert_eq!(memory.settings, Settings::default());
    }

    #[test]
    fn loading_settings_is_one_step_and_keeps_the_monitoring_switches() {
        let (mut memory, mut history) = (MemoryControls::default(), UndoHistory::default());
        memory.settings.bypass = true;
        let mut loaded = Settings::default();
        loaded.compressor.on = true;
        loaded.limiter.drive = 5.0;
        loaded.limiter.removed_only = true;
        with(&mut memory, &mut history, 0.0, |editor| editor.load(&loaded));
        assert!(
            memory.settings.bypass && memory.settings.compressor.on && !memory.settings.limiter.removed_only
        );
        with(&mut memory, &mut history, 0.0, |editor| editor.undo(&mut Slots::default()));
        assert_eq!(memory.settings, Settings { bypass: true, ..Settings::default() });
    }

    #[test]
    fn slots_copy_and_swap_are_steps_of_undo() {
        let (mut memory, mut history) = (MemoryControls::default(), UndoHistory::default());
        let drive = index("drive");
        let driven = |slots: &Slots| from_toml(&slots.other_slot).unwrap().limiter.drive;
        let mut slots = Slots::default();
        with(&mut memory, &mut history, 0.0, |editor| {
            // Drive 24 in A, 0 in B.
            editor.set_once(drive, 24.0);
            editor.switch_slot(&mut slots, 1);
            assert_eq!((editor.get(drive), slots.slot, driven(&slots)), (0.0, 1, 24.0));
            assert_eq!(editor.next_steps().0.as_deref(), Some("slot B"));
            editor.undo(&mut slots);
            assert_eq!((editor.get(drive), slots.slot, driven(&slots)), (24.0, 0, 0.0));
            editor.redo(&mut slots);
            assert_eq!((editor.get(drive), slots.slot, driven(&slots)), (0.0, 1, 24.0));

            editor.copy_slot(&mut slots);
            assert_eq!((editor.get(drive), driven(&slots)), (0.0, 0.0));
            assert_eq!(editor.next_steps().0.as_deref(), Some("copy B to A"));
            editor.undo(&mut slots);
            assert_eq!((editor.get(drive), driven(&slots)), (0.0, 24.0));

            editor.swap_slots(&mut slots);
            assert_eq!((editor.get(drive), slots.slot, driven(&slots)), (24.0, 1, 0.0));
            editor.undo(&mut slots);
            assert_eq!((editor.get(drive), slots.slot, driven(&slots)), (0.0, 1, 24.0));

            // Back to the beginning; the same settings in both slots are a step as well.
            editor.undo(&mut slots);
            editor.undo(&mut slots);
            assert_eq!((editor.get(drive), slots.slot), (0.0, 0));
            assert_eq!(editor.next_steps().0, None);
            editor.switch_slot(&mut slots, 1);
            editor.undo(&mut slots);
            assert_eq!(slots.slot, 0);
        });
    }

    #[test]
    fn a_new_change_discards_undone_steps_and_an_unchanged_value_is_no_step() {
        let (mut memory, mut history) = (MemoryControls::default(), UndoHistory::default());
        with(&mut memory, &mut history, 0.0, |editor| {
            editor.set_once(index("trim"), -6.0);
            editor.undo(&mut Slots::default());
            editor.set_once(index("drive"), 3.0);
            editor.redo(&mut Slots::default());
            assert_eq!((editor.value("trim"), editor.value("drive")), (0.0, 3.0));
            editor.begin(index("trim"));
            editor.end(index("trim"));
            assert_eq!(editor.next_steps().0.as_deref(), Some("drive"));
        });
    }

    #[test]
    fn resetting_the_eq_resets_its_bands_but_not_its_switch() {
        let (mut memory, mut history) = (MemoryControls::default(), UndoHistory::default());
        memory.settings.eq.on = false;
        memory.settings.eq.bands[2].gain = 3.0;
        memory.settings.compressor.ratio = 4.0;
        with(&mut memory, &mut history, 0.0, |editor| editor.reset("eq_on"));
        assert_eq!(memory.settings.eq.bands[2].gain, 0.0);
        assert!(!memory.settings.eq.on && memory.settings.compressor.ratio == 4.0);
    }
}
