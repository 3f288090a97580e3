//! The colours of the screen as egui's, for the light and the dark theme, and the style of egui's
//! own widgets (menus, tips, text fields).

use crate::palette::{self, Palette, Rgb};
use egui::style::{Selection, WidgetVisuals};
use egui::{Color32, Context, CornerRadius, FontId, Margin, Stroke, Visuals, vec2};

/// The colours of one theme; [`Palette`] says what each is for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Theme {
    /// Background of the window, behind the panels.
    pub window: Color32,
    /// Background of panels, charts, menus and text fields.
    pub background: Color32,
    /// Grid lines of charts.
    pub grid: Color32,
    /// Borders of panels, axes, disabled text.
    pub border: Color32,
    /// Text and the main curve.
    pub text: Color32,
    /// Labels and other secondary text.
    pub secondary: Color32,
    /// Fill of the input's level, under the output's curve.
    pub input: Color32,
    /// Limiter, ceiling and warnings.
    pub red: Color32,
    /// Compressor.
    pub teal: Color32,
    /// Loudness.
    pub ochre: Color32,
    /// A reference.
    pub violet: Color32,
    /// True for the dark theme.
    pub is_dark: bool,
}

impl Theme {
    /// Dark text on a light background.
    pub const LIGHT: Self = Self::from_palette(&palette::LIGHT, false);

    /// Light text on a dark background.
    pub const DARK: Self = Self::from_palette(&palette::DARK, true);

    /// The dark theme or the light one.
    pub fn of(dark: bool) -> Self {
        if dark { Self::DARK } else { Self::LIGHT }
    }

    const fn from_palette(palette: &Palette, is_dark: bool) -> Self {
        const fn color([red, green, blue]: Rgb) -> Color32 {
            Color32::from_rgb(red, green, blue)
        }
        Self {
            window: color(palette.window),
            background: color(palette.background),
            grid: color(palette.grid),
            border: color(palette.border),
            text: color(palette.text),
            secondary: color(palette.secondary),
            input: color(palette.input),
            red: color(palette.red),
            teal: color(palette.teal),
            ochre: color(palette.ochre),
            violet: color(palette.violet),
            is_dark,
        }
    }

    /// The theme of a stage that is off: no panel background, every curve and text secondary. The
    /// text keeps the contrast that all text has against the window.
    pub fn inactive(&self) -> Self {
        let secondary = self.secondary;
        Self {
            background: self.window,
            text: secondary,
            red: secondary,
            teal: secondary,
            ochre: secondary,
            violet: secondary,
            ..*self
        }
    }

    /// `color` mixed with the background, opaque; `share` of the colour, 0 to 1.
    pub fn tint(&self, color: Color32, share: f32) -> Color32 {
        let mix = |a: u8, b: u8| (f32::from(a) + (f32::from(b) - f32::from(a)) * share).round() as u8;
        let p = self.background;
        Color32::from_rgb(mix(p.r(), color.r()), mix(p.g(), color.g()), mix(p.b(), color.b()))
    }

    /// Sets egui's style: colours, spacing and sizes of menus, tips and text fields.
    pub fn apply(&self, ctx: &Context) {
        let theme = if self.is_dark { egui::Theme::Dark } else { egui::Theme::Light };
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
        let mut v = if self.is_dark { Visuals::dark() } else { Visuals::light() };
        let widget = |fill: Color32, stroke: Color32, text: Color32| WidgetVisuals {
            bg_fill: fill,
            weak_bg_fill: fill,
            bg_stroke: Stroke::new(1.0, stroke),
            corner_radius: CornerRadius::same(2),
            fg_stroke: Stroke::new(1.0, text),
            expansion: 0.0,
        };
        v.widgets.noninteractive = widget(self.background, self.grid, self.text);
        v.widgets.inactive = widget(self.background, Color32::TRANSPARENT, self.text);
        v.widgets.hovered = widget(self.tint(self.text, 0.08), self.border, self.text);
        v.widgets.active = widget(self.tint(self.text, 0.16), self.text, self.text);
        v.widgets.open = widget(self.tint(self.text, 0.08), self.border, self.text);
        v.selection = Selection { bg_fill: self.tint(self.teal, 0.3), stroke: Stroke::new(1.0, self.text) };
        v.panel_fill = self.window;
        v.window_fill = self.background;
        v.window_stroke = Stroke::new(1.0, self.border);
        v.window_corner_radius = CornerRadius::same(3);
        v.menu_corner_radius = CornerRadius::same(3);
        v.extreme_bg_color = self.background;
        v.text_edit_bg_color = Some(self.background);
        v.weak_text_color = Some(self.secondary);
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
    fn text_meets_the_contrast_requirement_on_every_background() {
        for theme in [Theme::LIGHT, Theme::DARK] {
            for text in [theme.text, theme.secondary, theme.red, theme.teal, theme.ochre, theme.violet] {
                for background in [theme.background, theme.window] {
                    let reached = contrast(text, background);
                    assert!(reached >= 4.5, "{text:?} on {background:?}: {reached}");
                }
            }
            // Highlighted buttons, and text over a light tint.
            assert!(contrast(theme.background, theme.text) >= 4.5);
            for color in [theme.red, theme.teal, theme.ochre, theme.text] {
                assert!(contrast(theme.text, theme.tint(color, 0.16)) >= 4.5);
            }
        }
    }

    /// Success criterion 1.4.11: 3 : 1 for graphics that are needed to understand the content.
    #[test]
    fn curves_meet_the_contrast_requirement_on_the_fills_below_them() {
        for theme in [Theme::LIGHT, Theme::DARK] {
            assert!(contrast(theme.text, theme.input) >= 4.5);
            for color in [theme.red, theme.teal, theme.ochre] {
                let reached = contrast(color, theme.tint(color, 0.22));
                assert!(reached >= 3.0, "{color:?}: {reached}");
            }
        }
    }

    #[test]
    fn the_contrast_formula_gives_the_published_limits() {
        assert!((contrast(Color32::BLACK, Color32::WHITE) - 21.0).abs() < 1e-3);
        assert_eq!(contrast(Color32::GRAY, Color32::GRAY), 1.0);
        // #767676 is the lightest grey that reaches 4.5 : 1 on white (value from memory).
        assert!(contrast(Color32::from_gray(0x76), Color32::WHITE) >= 4.5);
        assert!(contrast(Color32::from_gray(0x77), Color32::WHITE) < 4.5);
    }

    /// Limiter and compressor share a lane: their colours must differ without red or green cones as
    /// well (dash and position distinguish them besides). Distance in sRGB, 40: own goal.
    #[test]
    fn limiter_and_compressor_colors_differ_for_dichromats() {
        for theme in [Theme::LIGHT, Theme::DARK] {
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
