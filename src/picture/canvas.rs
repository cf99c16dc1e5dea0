//! A picture under construction: pixels, lines, hatches, text.

use ab_glyph::{Font, FontRef, Glyph, PxScale, ScaleFont, point};
use std::io;

/// A colour, 8 bits a channel, sRGB.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rgb(pub [u8; 3]);

/// Ink of text and lines.
pub const INK: Rgb = Rgb([28, 30, 33]);
/// Ink of what comes second.
pub const FAINT: Rgb = Rgb([96, 99, 104]);
/// Paper.
pub const PAPER: Rgb = Rgb([255, 255, 255]);

const REGULAR: &[u8] = include_bytes!("assets/sheet-sans.ttf");
const BOLD: &[u8] = include_bytes!("assets/sheet-sans-bold.ttf");

/// A style of text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Face {
    /// Height of the line, px.
    pub size: f32,
    /// Bold.
    pub bold: bool,
    /// Colour.
    pub colour: Rgb,
}

/// Pixels, row by row from the top.
#[derive(Debug, Clone, PartialEq)]
pub struct Canvas {
    /// Pixels a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    pixels: Vec<Rgb>,
}

impl Canvas {
    /// Empty paper of these many pixels.
    pub fn new(width: usize, height: usize) -> Canvas {
        Canvas {
            width,
            height,
            pixels: vec![PAPER; width * height],
        }
    }

    /// Colour of pixel (x, y).
    ///
    /// # Panics
    /// Outside the picture.
    pub fn get(&self, x: usize, y: usize) -> Rgb {
        self.pixels[y * self.width + x]
    }

    /// Sets pixel (x, y); outside the picture nothing happens.
    pub fn set(&mut self, x: i64, y: i64, colour: Rgb) {
        self.blend(x, y, colour, 1.0);
    }

    /// Lays `colour` over pixel (x, y), `share` opaque, 0 to 1; outside the picture nothing happens.
    pub fn blend(&mut self, x: i64, y: i64, colour: Rgb, share: f64) {
        if x < 0 || y < 0 || x >= self.width as i64 || y >= self.height as i64 {
            return;
        }
        let pixel = &mut self.pixels[y as usize * self.width + x as usize];
        let share = share.clamp(0.0, 1.0);
        for k in 0..3 {
            let (old, new) = (f64::from(pixel.0[k]), f64::from(colour.0[k]));
            pixel.0[k] = (old + (new - old) * share).round() as u8;
        }
    }

    /// Fills the rectangle from (x, y) on.
    pub fn fill(&mut self, x: i64, y: i64, width: i64, height: i64, colour: Rgb) {
        for j in y..y + height {
            for i in x..x + width {
                self.set(i, j, colour);
            }
        }
    }

    /// Strokes a line, `width` px wide, with soft edges.
    pub fn line(&mut self, a: [f64; 2], b: [f64; 2], width: f64, colour: Rgb) {
        let d = [b[0] - a[0], b[1] - a[1]];
        let length2 = d[0] * d[0] + d[1] * d[1];
        let away = |x: f64, y: f64| {
            let r = [x - a[0], y - a[1]];
            let t = if length2 > 0.0 {
                ((r[0] * d[0] + r[1] * d[1]) / length2).clamp(0.0, 1.0)
            } else {
                0.0
            };
            (r[0] - t * d[0]).hypot(r[1] - t * d[1])
        };
        let lo = [a[0].min(b[0]) - width, a[1].min(b[1]) - width];
        let hi = [a[0].max(b[0]) + width, a[1].max(b[1]) + width];
        self.shade_box(lo, hi, colour, |x, y| 0.5 * width + 0.5 - away(x, y));
    }

    /// Strokes a circle, px.
    pub fn ring(&mut self, centre: [f64; 2], radius: f64, width: f64, colour: Rgb) {
        let r = radius + width;
        let lo = [centre[0] - r, centre[1] - r];
        let hi = [centre[0] + r, centre[1] + r];
        self.shade_box(lo, hi, colour, |x, y| {
            let d = (x - centre[0]).hypot(y - centre[1]) - radius;
            0.5 * width + 0.5 - d.abs()
        });
    }

    /// Fills a circle, px.
    pub fn disc(&mut self, centre: [f64; 2], radius: f64, colour: Rgb) {
        let lo = [centre[0] - radius - 1.0, centre[1] - radius - 1.0];
        let hi = [centre[0] + radius + 1.0, centre[1] + radius + 1.0];
        self.shade_box(lo, hi, colour, |x, y| {
            radius + 0.5 - (x - centre[0]).hypot(y - centre[1])
        });
    }

    /// Blends `colour` over a box, at each pixel's middle by `share`.
    fn shade_box(
        &mut self,
        lo: [f64; 2],
        hi: [f64; 2],
        colour: Rgb,
        share: impl Fn(f64, f64) -> f64,
    ) {
        let clamp = |v: f64, n: usize| v.clamp(0.0, n as f64) as i64;
        for y in clamp(lo[1].floor(), self.height)..clamp(hi[1].ceil() + 1.0, self.height) {
            for x in clamp(lo[0].floor(), self.width)..clamp(hi[0].ceil() + 1.0, self.width) {
                let share = share(x as f64 + 0.5, y as f64 + 0.5);
                if share > 0.0 {
                    self.blend(x, y, colour, share);
                }
            }
        }
    }

    /// Writes `text` with its left end and baseline at `at`.
    pub fn text(&mut self, at: [f64; 2], face: Face, text: &str) {
        let font = font(face.bold);
        let scaled = font.as_scaled(PxScale::from(face.size));
        let mut x = at[0] as f32;
        let mut last = None;
        for c in text.chars() {
            let id = font.glyph_id(c);
            if let Some(last) = last {
                x += scaled.kern(last, id);
            }
            last = Some(id);
            let glyph: Glyph = id.with_scale_and_position(face.size, point(x, at[1] as f32));
            x += scaled.h_advance(id);
            if let Some(outline) = font.outline_glyph(glyph) {
                let corner = outline.px_bounds().min;
                outline.draw(|i, j, share| {
                    let (px, py) = (
                        corner.x as i64 + i64::from(i),
                        corner.y as i64 + i64::from(j),
                    );
                    self.blend(px, py, face.colour, f64::from(share));
                });
            }
        }
    }

    /// The same on a little paper, to be read over anything.
    pub fn label(&mut self, at: [f64; 2], face: Face, text: &str) {
        let width = text_width(face, text);
        let size = f64::from(face.size);
        self.fill(
            at[0] as i64 - 2,
            (at[1] - 0.85 * size) as i64,
            width.ceil() as i64 + 4,
            (1.1 * size) as i64,
            PAPER,
        );
        self.text(at, face, text);
    }

    /// The picture as PNG.
    ///
    /// # Errors
    /// None that this program could make: of the encoder.
    pub fn png(&self) -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, self.width as u32, self.height as u32);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_compression(png::Compression::Balanced);
        let mut writer = encoder.write_header()?;
        let flat: Vec<u8> = self.pixels.iter().flat_map(|p| p.0).collect();
        writer.write_image_data(&flat)?;
        writer.finish()?;
        Ok(bytes)
    }
}

/// Pixels that `text` takes.
pub fn text_width(face: Face, text: &str) -> f64 {
    let font = font(face.bold);
    let scaled = font.as_scaled(PxScale::from(face.size));
    text.chars()
        .map(|c| f64::from(scaled.h_advance(font.glyph_id(c))))
        .sum()
}

fn font(bold: bool) -> FontRef<'static> {
    let bytes = if bold { BOLD } else { REGULAR };
    FontRef::try_from_slice(bytes).expect("the fonts are part of the program")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_reads_back_pixel_by_pixel() {
        let mut canvas = Canvas::new(40, 20);
        canvas.line([2.0, 2.0], [38.0, 18.0], 2.0, INK);
        let face = Face {
            size: 12.0,
            bold: true,
            colour: Rgb([213, 94, 0]),
        };
        canvas.text([4.0, 15.0], face, "3 mm²");
        let bytes = canvas.png().unwrap();
        let mut reader = png::Decoder::new(io::Cursor::new(bytes))
            .read_info()
            .unwrap();
        let mut pixels = vec![0; 40 * 20 * 3];
        reader.next_frame(&mut pixels).unwrap();
        for (k, pixel) in pixels.chunks(3).enumerate() {
            assert_eq!(canvas.get(k % 40, k / 40).0, pixel);
        }
        assert!(pixels.iter().any(|&v| v != 255));
    }

    #[test]
    fn nothing_is_drawn_outside() {
        let mut canvas = Canvas::new(5, 5);
        canvas.disc([-3.0, 9.0], 2.0, INK);
        canvas.line([-50.0, -1.0], [80.0, -3.0], 1.0, INK);
        assert_eq!(canvas, Canvas::new(5, 5));
    }

    #[test]
    fn every_sign_in_use_has_a_glyph() {
        for bold in [false, true] {
            for c in "Az09 °±²³·×–…−≤≥⌀▲\u{a0}".chars() {
                assert_ne!(font(bold).glyph_id(c).0, 0, "{c:?}");
            }
        }
    }
}
