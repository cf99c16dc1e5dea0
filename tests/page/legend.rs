//! Values read back from a picture's pixels through its own legend.

use moldvet::picture::{Picture, Ramp, Rgb};
use std::io::Cursor;

/// A picture's pixels, from its PNG.
pub fn pixels(picture: &Picture) -> impl Fn(usize, usize) -> Rgb + use<> {
    let bytes = picture.canvas.png().unwrap();
    let mut reader = png::Decoder::new(Cursor::new(bytes)).read_info().unwrap();
    let mut data = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut data).unwrap();
    let width = info.width as usize;
    move |x, y| {
        let at = 3 * (y * width + x);
        Rgb([data[at], data[at + 1], data[at + 2]])
    }
}

/// The value of a pixel by the legend in the same picture: that of the legend's rows with the nearest colour. `None` for a
/// pixel that is no colour of the scale: ink, hatch, paper.
pub fn by_legend(picture: &Picture, at: [f64; 2]) -> Option<f64> {
    let get = pixels(picture);
    let ramp = Ramp::cividis();
    let on_scale = |c: Rgb| ramp.inverse(c).1 < 3.0;
    let [x, y, _, h] = picture.plot.legend;
    let colour = get(at[0] as usize, at[1] as usize);
    if !on_scale(colour) {
        return None;
    }
    let away = |c: Rgb| {
        (0..3)
            .map(|k| (i32::from(c.0[k]) - i32::from(colour.0[k])).pow(2))
            .sum::<i32>()
    };
    // the left half of the bar has no hatch; its frame and its limit line are not on the scale
    let rows: Vec<(usize, i32)> = (0..h)
        .map(|j| (j, get(x + 3, y + j)))
        .filter(|(_, c)| on_scale(*c))
        .map(|(j, c)| (j, away(c)))
        .collect();
    let least = rows.iter().map(|r| r.1).min()?;
    let same: Vec<usize> = rows.iter().filter(|r| r.1 == least).map(|r| r.0).collect();
    let middle = same.iter().sum::<usize>() as f64 / same.len() as f64;
    let [lo, hi] = picture.plot.range;
    Some(hi - (middle + 0.5) / h as f64 * (hi - lo))
}

/// One of 256 colours, and a row of the legend.
pub fn step(picture: &Picture) -> f64 {
    (picture.plot.range[1] - picture.plot.range[0])
        * (1.0 / 255.0 + 2.0 / picture.plot.legend[3] as f64)
}

/// The largest value within `px` pixels of a place.
pub fn largest_near(picture: &Picture, place: [f64; 2], px: i32) -> f64 {
    let [x, y] = picture.plot.pixel(place);
    let around =
        (-px..=px).flat_map(|i| (-px..=px).map(move |j| [x + f64::from(i), y + f64::from(j)]));
    around
        .filter_map(|at| by_legend(picture, at))
        .fold(f64::NEG_INFINITY, f64::max)
}

/// Values within `px` pixels of a place.
pub fn near(picture: &Picture, place: [f64; 2], px: i32) -> Vec<f64> {
    let [x, y] = picture.plot.pixel(place);
    (-px..=px)
        .flat_map(|i| (-px..=px).map(move |j| [x + f64::from(i), y + f64::from(j)]))
        .filter_map(|at| by_legend(picture, at))
        .collect()
}

/// Whether some pixel within `px` of a place shows `value`, to one step of the scale and `within`.
pub fn shows(picture: &Picture, place: [f64; 2], px: i32, value: f64, within: f64) -> bool {
    let off = within + step(picture);
    near(picture, place, px)
        .iter()
        .any(|v| (v - value).abs() <= off)
}
