//! Paper, ink and three pens: every colour of the screen, for the day sheet and the night sheet,
//! and how egui's own widgets (menus, tips, text fields) are dressed to match.

use egui::style::{Selection, WidgetVisuals};
use egui::{Color32, Context, CornerRadius, FontId, Margin, Stroke, Visuals, vec2};

/// The colours of one sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Theme {
    /// What the sheets lie on.
    pub editor: Color32,
    /// The sheets.
    pub paper: Color32,
    /// Printed ruling on the paper.
    pub ruling: Color32,
    /// Edges of sheets, scale lines.
    pub edge: Color32,
    /// Text and the main pen.
    pub ink: Color32,
    /// Secondary text.
    pub soft: Color32,
    /// The signal before the chain: a wash under the ink.
    pub before: Color32,
    /// Pen of the ceiling.
    pub red: Color32,
    /// Pen of the compressor.
    pub teal: Color32,
    /// Pen of the loudness.
    pub ochre: Color32,
    /// True on the night sheet.
    pub night: bool,
}

impl Theme {
    /// Warm paper, near-black ink.
    pub const DAY: Self = Self {
        editor: Color32::from_rgb(0xEC, 0xE5, 0xD5),
        paper: Color32::from_rgb(0xFB, 0xF8, 0xF0),
        ruling: Color32::from_rgb(0xE4, 0xDC, 0xC8),
        edge: Color32::from_rgb(0xC2, 0xB8, 0x9F),
        ink: Color32::from_rgb(0x1D, 0x22, 0x28),
        soft: Color32::from_rgb(0x5C, 0x59, 0x50),
        before: Color32::from_rgb(0xD9, 0xD1, 0xBD),
        red: Color32::from_rgb(0xB0, 0x2E, 0x1C),
        teal: Color32::from_rgb(0x0B, 0x60, 0x6C),
        ochre: Color32::from_rgb(0x83, 0x56, 0x00),
        night: false,
    };

    /// Dark paper, pale ink.
    pub const NIGHT: Self = Self {
        editor: Color32::from_rgb(0x14, 0x17, 0x19),
        paper: Color32::from_rgb(0x1E, 0x22, 0x24),
        ruling: Color32::from_rgb(0x31, 0x36, 0x37),
        edge: Color32::from_rgb(0x56, 0x5B, 0x58),
        ink: Color32::from_rgb(0xEC, 0xE6, 0xD8),
        soft: Color32::from_rgb(0xAD, 0xA8, 0x9A),
        before: Color32::from_rgb(0x41, 0x46, 0x45),
        red: Color32::from_rgb(0xFF, 0x82, 0x6B),
        teal: Color32::from_rgb(0x62, 0xC9, 0xD0),
        ochre: Color32::from_rgb(0xE2, 0xB3, 0x50),
        night: true,
    };

    /// The sheet by its word.
    pub fn of(night: bool) -> Self {
        if night { Self::NIGHT } else { Self::DAY }
    }

    /// The same sheet with its paper taken away and all pens lifted: a stage that is left out. Its
    /// text still stands out from the editor as all text does.
    pub fn left_out(&self) -> Self {
        let soft = self.soft;
        Self { paper: self.editor, ink: soft, red: soft, teal: soft, ochre: soft, ..*self }
    }

    /// A pen's colour washed thin over the paper, still opaque; `share` 0 to 1 of the pen.
    pub fn wash(&self, pen: Color32, share: f32) -> Color32 {
        let mix = |a: u8, b: u8| (f32::from(a) + (f32::from(b) - f32::from(a)) * share).round() as u8;
        let p = self.paper;
        Color32::from_rgb(mix(p.r(), pen.r()), mix(p.g(), pen.g()), mix(p.b(), pen.b()))
    }

    /// Dresses egui: colours, spacing and sizes of menus, tips and text fields.
    pub fn dress(&self, ctx: &Context) {
        let theme = if self.night { egui::Theme::Dark } else { egui::Theme::Light };
        ctx.set_theme(theme);
        let visuals = self.visuals();
        ctx.style_mut_of(theme, |style| {
            style.visuals = visuals;
            style.spacing.item_spacing = vec2(6.0, 4.0);
            style.spacing.button_padding = vec2(7.0, 3.0);
            style.spacing.menu_margin = Margin::same(8);
            style.spacing.tooltip_width = 300.0;
            style.interaction.selectable_labels = false;
            style.interaction.tooltip_delay = 0.45;
            for (text, font) in &mut style.text_styles {
                let size = match text {
                    egui::TextStyle::Heading => 16.0,
                    egui::TextStyle::Small => 11.5,
                    _ => 13.0,
                };
                *font = FontId::proportional(size);
            }
        });
    }

    fn visuals(&self) -> Visuals {
        let mut v = if self.night { Visuals::dark() } else { Visuals::light() };
        let widget = |fill: Color32, stroke: Color32, text: Color32| WidgetVisuals {
            bg_fill: fill,
            weak_bg_fill: fill,
            bg_stroke: Stroke::new(1.0, stroke),
            corner_radius: CornerRadius::same(2),
            fg_stroke: Stroke::new(1.0, text),
            expansion: 0.0,
        };
        v.widgets.noninteractive = widget(self.paper, self.ruling, self.ink);
        v.widgets.inactive = widget(self.paper, Color32::TRANSPARENT, self.ink);
        v.widgets.hovered = widget(self.wash(self.ink, 0.08), self.edge, self.ink);
        v.widgets.active = widget(self.wash(self.ink, 0.16), self.ink, self.ink);
        v.widgets.open = widget(self.wash(self.ink, 0.08), self.edge, self.ink);
        v.selection = Selection { bg_fill: self.wash(self.teal, 0.3), stroke: Stroke::new(1.0, self.ink) };
        v.panel_fill = self.editor;
        v.window_fill = self.paper;
        v.window_stroke = Stroke::new(1.0, self.edge);
        v.window_corner_radius = CornerRadius::same(3);
        v.menu_corner_radius = CornerRadius::same(3);
        v.extreme_bg_color = self.paper;
        v.text_edit_bg_color = Some(self.paper);
        v.weak_text_color = Some(self.soft);
        v.override_text_color = None;
        v
    }
}

/// Contrast ratio of two opaque colours, 1 to 21. W3C, Web Content Accessibility Guidelines 2.2,
/// definition "contrast ratio".
pub fn contrast(a: Color32, b: Color32) -> f32 {
    let luminance = |c: Color32| {
        let part = |v: u8| {
            let v = f32::from(v) / 255.0;
            if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(c.r()) + 0.7152 * part(c.g()) + 0.0722 * part(c.b())
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// The colour as it appears without red cones (`green` false) or without green cones.
/// F. Viénot, H. Brettel, J. Mollon, Digital video colourmaps for checking the legibility of
/// displays by dichromats, Color Research & Application 24 (1999), matrices in linear light.
pub fn dichromat(c: Color32, green: bool) -> Color32 {
    let linear = |v: u8| (f32::from(v) / 255.0).powf(2.2);
    let coded = |v: f32| (v.clamp(0.0, 1.0).powf(1.0 / 2.2) * 255.0).round() as u8;
    let (r, g, b) = (linear(c.r()), linear(c.g()), linear(c.b()));
    let (rg, b) = match green {
        false => (0.11238 * r + 0.88762 * g, 0.00401 * r - 0.00401 * g + b),
        true => (0.29275 * r + 0.70725 * g, -0.02234 * r + 0.02234 * g + b),
    };
    Color32::from_rgb(coded(rg), coded(rg), coded(b))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// W3C, Web Content Accessibility Guidelines 2.2, success criterion 1.4.3: 4.5 : 1 for text.
    #[test]
    fn all_text_stands_out_from_what_it_is_written_on() {
        for theme in [Theme::DAY, Theme::NIGHT] {
            for text in [theme.ink, theme.soft, theme.red, theme.teal, theme.ochre] {
                for ground in [theme.paper, theme.editor] {
                    let reached = contrast(text, ground);
                    assert!(reached >= 4.5, "{text:?} on {ground:?}: {reached}");
                }
            }
            // The reversed word buttons, and ink over a thin wash.
            assert!(contrast(theme.paper, theme.ink) >= 4.5);
            for pen in [theme.red, theme.teal, theme.ochre, theme.ink] {
                assert!(contrast(theme.ink, theme.wash(pen, 0.16)) >= 4.5);
            }
        }
    }

    /// Success criterion 1.4.11: 3 : 1 for what one must see to use a control.
    #[test]
    fn pens_stand_out_from_the_washes_they_cross() {
        for theme in [Theme::DAY, Theme::NIGHT] {
            assert!(contrast(theme.ink, theme.before) >= 4.5);
            for pen in [theme.red, theme.teal, theme.ochre] {
                let reached = contrast(pen, theme.wash(pen, 0.22));
                assert!(reached >= 3.0, "{pen:?}: {reached}");
            }
        }
    }

    #[test]
    fn the_contrast_formula_meets_its_published_ends() {
        assert!((contrast(Color32::BLACK, Color32::WHITE) - 21.0).abs() < 1e-3);
        assert_eq!(contrast(Color32::GRAY, Color32::GRAY), 1.0);
        // #767676 on white is the well-known last grey that passes.
        assert!(contrast(Color32::from_gray(0x76), Color32::WHITE) >= 4.5);
        assert!(contrast(Color32::from_gray(0x77), Color32::WHITE) < 4.5);
    }

    /// Red and teal meet in one lane: they must differ in lightness or hue without red or green
    /// cones as well (dash and place tell them apart besides).
    #[test]
    fn the_reductions_two_pens_differ_for_dichromats() {
        for theme in [Theme::DAY, Theme::NIGHT] {
            for green in [false, true] {
                let (a, b) = (dichromat(theme.red, green), dichromat(theme.teal, green));
                let apart = [(a.r(), b.r()), (a.g(), b.g()), (a.b(), b.b())]
                    .iter()
                    .map(|(a, b)| (f32::from(*a) - f32::from(*b)).powi(2))
                    .sum::<f32>()
                    .sqrt();
                assert!(apart >= 40.0, "{apart}: {a:?} {b:?}");
            }
        }
    }
}
