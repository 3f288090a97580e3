//! Pixels without a graphics card: draws egui's triangles on the CPU, for tests and for pictures
//! in the documents. In go textures and tessellated shapes, out comes an image; colours are
//! blended as egui's own back ends do, with premultiplied alpha in gamma space.

use egui::epaint::{ClippedPrimitive, Mesh, Primitive, Vertex};
use egui::{Color32, ColorImage, ImageData, Pos2, TextureId, TexturesDelta};
use std::collections::HashMap;

/// A canvas with its textures.
#[derive(Default)]
pub struct Raster {
    textures: HashMap<TextureId, ColorImage>,
}

impl Raster {
    /// Takes in new and changed textures and forgets freed ones; empties `delta`.
    pub fn take(&mut self, delta: &mut TexturesDelta) {
        for (id, changes) in delta.set.drain() {
            for change in changes {
                let ImageData::Color(new) = change.image;
                match (change.pos, self.textures.get_mut(&id)) {
                    (Some([left, top]), Some(old)) => paste(old, &new, left, top),
                    _ => {
                        self.textures.insert(id, (*new).clone());
                    }
                }
            }
        }
        for id in delta.free.drain() {
            self.textures.remove(&id);
        }
    }

    /// Draws `primitives`, whose points are `pixels_per_point` pixels, over black.
    pub fn draw(
        &self,
        primitives: &[ClippedPrimitive],
        size: [usize; 2],
        pixels_per_point: f32,
    ) -> ColorImage {
        let mut canvas = ColorImage::filled(size, Color32::BLACK);
        for ClippedPrimitive { clip_rect, primitive } in primitives {
            let Primitive::Mesh(mesh) = primitive else { continue };
            let Some(texture) = self.textures.get(&mesh.texture_id) else { continue };
            let edge = |v: f32, most: usize| (v * pixels_per_point).round().clamp(0.0, most as f32) as i64;
            let clip = Clip {
                x: (edge(clip_rect.min.x, size[0]), edge(clip_rect.max.x, size[0])),
                y: (edge(clip_rect.min.y, size[1]), edge(clip_rect.max.y, size[1])),
            };
            triangles(&mut canvas, mesh, texture, &clip, pixels_per_point);
        }
        canvas
    }
}

fn paste(old: &mut ColorImage, new: &ColorImage, left: usize, top: usize) {
    for y in 0..new.height() {
        for x in 0..new.width() {
            old[(left + x, top + y)] = new[(x, y)];
        }
    }
}

/// Pixels that may be touched: from the first, up to but without the second.
struct Clip {
    x: (i64, i64),
    y: (i64, i64),
}

fn triangles(canvas: &mut ColorImage, mesh: &Mesh, texture: &ColorImage, clip: &Clip, scale: f32) {
    for corner in mesh.indices.chunks_exact(3) {
        let corners = [0, 1, 2].map(|n| mesh.vertices[corner[n] as usize]);
        triangle(canvas, corners, texture, clip, scale);
    }
}

/// Twice the signed area of a triangle.
fn area(a: Pos2, b: Pos2, c: Pos2) -> f64 {
    let [ax, ay, bx, by, cx, cy] = [a.x, a.y, b.x, b.y, c.x, c.y].map(f64::from);
    (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
}

/// Fills the pixels whose centres lie within, with the usual top-left rule, so that pixels on a
/// shared edge are drawn exactly once.
fn triangle(canvas: &mut ColorImage, mut v: [Vertex; 3], texture: &ColorImage, clip: &Clip, scale: f32) {
    for vertex in &mut v {
        // On a grid of 1/256 pixel, as hardware does: shared edges then share their arithmetic.
        let snap = |p: f32| (p * scale * 256.0).round() / 256.0;
        vertex.pos = Pos2::new(snap(vertex.pos.x), snap(vertex.pos.y));
    }
    let mut whole = area(v[0].pos, v[1].pos, v[2].pos);
    if whole == 0.0 || !whole.is_finite() {
        return;
    }
    if whole < 0.0 {
        v.swap(1, 2);
        whole = -whole;
    }
    let least = |f: fn(&Vertex) -> f32| v.iter().map(f).fold(f32::INFINITY, f32::min);
    let most = |f: fn(&Vertex) -> f32| v.iter().map(f).fold(f32::NEG_INFINITY, f32::max);
    let x0 = (least(|v| v.pos.x).floor() as i64).max(clip.x.0);
    let x1 = (most(|v| v.pos.x).ceil() as i64).min(clip.x.1);
    let y0 = (least(|v| v.pos.y).floor() as i64).max(clip.y.0);
    let y1 = (most(|v| v.pos.y).ceil() as i64).min(clip.y.1);
    let plain =
        v[0].color == v[1].color && v[0].color == v[2].color && v[0].uv == v[1].uv && v[0].uv == v[2].uv;
    let single = plain.then(|| shade(&v, [1.0, 0.0, 0.0], texture));
    // Edge n runs opposite of corner n.
    let edges = [(1, 2), (2, 0), (0, 1)];
    let owns = edges.map(|(a, b)| {
        let (dx, dy) = (v[b].pos.x - v[a].pos.x, v[b].pos.y - v[a].pos.y);
        dy < 0.0 || dy == 0.0 && dx > 0.0
    });
    for y in y0..y1 {
        for x in x0..x1 {
            let centre = Pos2::new(x as f32 + 0.5, y as f32 + 0.5);
            let w = edges.map(|(a, b)| area(v[a].pos, v[b].pos, centre));
            if w.iter().zip(owns).any(|(w, owns)| *w < 0.0 || *w == 0.0 && !owns) {
                continue;
            }
            let source = single.unwrap_or_else(|| shade(&v, w.map(|w| (w / whole) as f32), texture));
            let pixel = &mut canvas[(x as usize, y as usize)];
            *pixel = over(source, *pixel);
        }
    }
}

/// Colour at barycentric weights `w`: vertex colour times texture.
fn shade(v: &[Vertex; 3], w: [f32; 3], texture: &ColorImage) -> [f32; 4] {
    let mut color = [0.0; 4];
    let (mut s, mut t) = (0.0, 0.0);
    for (vertex, w) in v.iter().zip(w) {
        for (sum, part) in color.iter_mut().zip(vertex.color.to_array()) {
            *sum += w * f32::from(part) / 255.0;
        }
        s += w * vertex.uv.x;
        t += w * vertex.uv.y;
    }
    let texel = bilinear(texture, s, t);
    std::array::from_fn(|i| color[i] * texel[i])
}

fn bilinear(texture: &ColorImage, s: f32, t: f32) -> [f32; 4] {
    let (width, height) = (texture.width() as i64, texture.height() as i64);
    let (x, y) = (s * width as f32 - 0.5, t * height as f32 - 0.5);
    let (left, top) = (x.floor(), y.floor());
    let (fx, fy) = (x - left, y - top);
    let at = |dx: i64, dy: i64| {
        let x = (left as i64 + dx).clamp(0, width - 1) as usize;
        let y = (top as i64 + dy).clamp(0, height - 1) as usize;
        texture[(x, y)].to_array().map(|c| f32::from(c) / 255.0)
    };
    let (a, b, c, d) = (at(0, 0), at(1, 0), at(0, 1), at(1, 1));
    std::array::from_fn(|i| {
        (a[i] * (1.0 - fx) + b[i] * fx) * (1.0 - fy) + (c[i] * (1.0 - fx) + d[i] * fx) * fy
    })
}

fn over(source: [f32; 4], below: Color32) -> Color32 {
    let below = below.to_array();
    let part = |i: usize| {
        let v = source[i] * 255.0 + f32::from(below[i]) * (1.0 - source[3]);
        v.round().clamp(0.0, 255.0) as u8
    };
    Color32::from_rgba_premultiplied(part(0), part(1), part(2), part(3))
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::{Rect, WidgetText, pos2, vec2};

    fn picture(draw: impl FnMut(&mut egui::Ui)) -> ColorImage {
        let ctx = egui::Context::default();
        let input = egui::RawInput {
            screen_rect: Some(Rect::from_min_size(pos2(0.0, 0.0), vec2(40.0, 30.0))),
            ..Default::default()
        };
        let mut output = ctx.run_ui(input, draw);
        let mut raster = Raster::default();
        raster.take(&mut output.textures_delta);
        raster.draw(&ctx.tessellate(output.shapes, 1.0), [40, 30], 1.0)
    }

    #[test]
    fn a_rectangle_covers_its_pixels_exactly_once() {
        let half = Color32::from_rgba_premultiplied(100, 0, 0, 128);
        let image = picture(|ui| {
            ui.ctx().tessellation_options_mut(|o| o.feathering = false);
            let rect = Rect::from_min_size(pos2(0.0, 0.0), vec2(40.0, 30.0));
            ui.painter().rect_filled(rect, 0.0, Color32::from_rgb(0, 0, 200));
            ui.painter().rect_filled(Rect::from_min_size(pos2(10.0, 5.0), vec2(8.0, 6.0)), 0.0, half);
        });
        let (mut blue, mut mixed) = (0, 0);
        for pixel in &image.pixels {
            match pixel.to_array() {
                [0, 0, 200, 255] => blue += 1,
                [100, 0, 100, 255] => mixed += 1,
                other => panic!("{other:?}"),
            }
        }
        assert_eq!((mixed, blue), (48, 40 * 30 - 48));
    }

    #[test]
    fn text_leaves_coloured_pixels() {
        let image = picture(|ui| {
            let text: WidgetText = "8".into();
            ui.label(text.color(Color32::WHITE));
        });
        assert!(image.pixels.iter().any(|p| p.r() > 180), "no stroke of the digit came through");
    }
}
