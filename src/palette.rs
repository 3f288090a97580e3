//! The colours of the screen, of the reports and of the documents' figures, as plain sRGB values
//! that need no drawing library.

/// One colour: red, green and blue in sRGB, 0 to 255.
pub type Rgb = [u8; 3];

/// The colours of one appearance, light or dark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Palette {
    /// Background of the window or page, behind the panels.
    pub window: Rgb,
    /// Background of panels, charts, menus and text fields.
    pub background: Rgb,
    /// Grid lines of charts.
    pub grid: Rgb,
    /// Borders of panels, axes, disabled text.
    pub border: Rgb,
    /// Text and the main curve.
    pub text: Rgb,
    /// Labels and other secondary text.
    pub secondary: Rgb,
    /// Fill of the input's level, under the output's curve.
    pub input: Rgb,
    /// Limiter, ceiling and warnings.
    pub red: Rgb,
    /// Compressor.
    pub teal: Rgb,
    /// Loudness.
    pub ochre: Rgb,
    /// A reference.
    pub violet: Rgb,
}

/// Dark text on a light background.
pub const LIGHT: Palette = Palette {
    window: [0xEC, 0xE5, 0xD5],
    background: [0xFB, 0xF8, 0xF0],
    grid: [0xE4, 0xDC, 0xC8],
    border: [0xC2, 0xB8, 0x9F],
    text: [0x1D, 0x22, 0x28],
    secondary: [0x5C, 0x59, 0x50],
    input: [0xD9, 0xD1, 0xBD],
    red: [0xB0, 0x2E, 0x1C],
    teal: [0x0B, 0x60, 0x6C],
    ochre: [0x83, 0x56, 0x00],
    violet: [0x5E, 0x3C, 0x8C],
};

/// Light text on a dark background.
pub const DARK: Palette = Palette {
    window: [0x14, 0x17, 0x19],
    background: [0x1E, 0x22, 0x24],
    grid: [0x31, 0x36, 0x37],
    border: [0x56, 0x5B, 0x58],
    text: [0xEC, 0xE6, 0xD8],
    secondary: [0xAD, 0xA8, 0x9A],
    input: [0x41, 0x46, 0x45],
    red: [0xFF, 0x82, 0x6B],
    teal: [0x62, 0xC9, 0xD0],
    ochre: [0xE2, 0xB3, 0x50],
    violet: [0xC0, 0xA6, 0xF0],
};

/// `color` as CSS and SVG write it: `#1d2228`.
pub fn css(color: Rgb) -> String {
    let [red, green, blue] = color;
    format!("#{red:02x}{green:02x}{blue:02x}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn css_colors_have_six_hexadecimal_digits() {
        assert_eq!(css([0x0B, 0x60, 0x6C]), "#0b606c");
        assert_eq!(css([0, 255, 9]), "#00ff09");
    }
}
