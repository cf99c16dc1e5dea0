//! Colours that read the same to colour-blind eyes.

use super::canvas::Rgb;

/// The 256 colours of cividis (Nuñez, Anderton & Renslow 2018, PLOS ONE 13(7): e0199239), six hexadecimal digits each.
pub const CIVIDIS_HEX: &str = include_str!("assets/cividis.hex");

/// A scale of colours from 0 to 1.
#[derive(Debug, Clone)]
pub struct Ramp {
    colours: Vec<Rgb>,
}

impl Ramp {
    /// Cividis, dark blue to yellow.
    pub fn cividis() -> Ramp {
        let digit = |k: usize| {
            let c = CIVIDIS_HEX.as_bytes()[k];
            (c as char).to_digit(16).unwrap_or(0) as u8
        };
        let channel = |k: usize| digit(k) * 16 + digit(k + 1);
        Ramp {
            colours: (0..256)
                .map(|c| Rgb([channel(6 * c), channel(6 * c + 2), channel(6 * c + 4)]))
                .collect(),
        }
    }

    /// Colour at `t`, clamped to 0..1.
    pub fn at(&self, t: f64) -> Rgb {
        let last = (self.colours.len() - 1) as f64;
        self.colours[(t.clamp(0.0, 1.0) * last).round() as usize]
    }

    /// Where on the scale, 0 to 1, the colour nearest to `colour` stands, and the distance between them in 8-bit steps of sRGB.
    pub fn inverse(&self, colour: Rgb) -> (f64, f64) {
        let away = |c: &Rgb| {
            let d = |k: usize| f64::from(c.0[k]) - f64::from(colour.0[k]);
            (d(0).powi(2) + d(1).powi(2) + d(2).powi(2)).sqrt()
        };
        let (k, d) = self
            .colours
            .iter()
            .map(away)
            .enumerate()
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap_or((0, f64::INFINITY));
        (k as f64 / (self.colours.len() - 1) as f64, d)
    }
}

/// The Okabe–Ito set of categorical colours (Okabe & Ito 2008, Color Universal Design).
pub(crate) mod okabe_ito {
    use super::Rgb;

    /// Black.
    pub const BLACK: Rgb = Rgb([0, 0, 0]);
    /// Orange.
    pub const ORANGE: Rgb = Rgb([230, 159, 0]);
    /// Sky blue.
    pub const SKY: Rgb = Rgb([86, 180, 233]);
    /// Blue.
    pub const BLUE: Rgb = Rgb([0, 114, 178]);
    /// Vermilion.
    pub const VERMILION: Rgb = Rgb([213, 94, 0]);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Linear light of an sRGB channel (IEC 61966-2-1).
    fn linear(v: u8) -> f64 {
        let v = f64::from(v) / 255.0;
        if v <= 0.04045 {
            v / 12.92
        } else {
            ((v + 0.055) / 1.055).powf(2.4)
        }
    }

    #[test]
    fn cividis_rises_for_colour_blind_eyes_too() {
        // severity 1.0 on linear RGB: Machado, Oliveira & Fernandes 2009, IEEE TVCG 15(6) 1291-1298; numbers from memory
        let blind = [
            [
                [0.152286, 1.052583, -0.204868],
                [0.114503, 0.786281, 0.099216],
                [-0.003882, -0.048116, 1.051998],
            ],
            [
                [0.367322, 0.860646, -0.227968],
                [0.280085, 0.672501, 0.047413],
                [-0.011820, 0.042940, 0.968881],
            ],
            [
                [1.255528, -0.076749, -0.178779],
                [-0.078411, 0.930809, 0.147602],
                [0.004733, 0.691367, 0.303900],
            ],
        ];
        let ramp = Ramp::cividis();
        for eye in blind {
            // white stays white
            assert!(
                eye.iter()
                    .all(|row| (row.iter().sum::<f64>() - 1.0).abs() < 1e-5)
            );
            let light = |t: f64| {
                let c = ramp.at(t).0.map(linear);
                let seen =
                    eye.map(|row| (0..3).map(|k| row[k] * c[k]).sum::<f64>().clamp(0.0, 1.0));
                0.2126 * seen[0] + 0.7152 * seen[1] + 0.0722 * seen[2]
            };
            for k in 0..16 {
                let (a, b) = (light(f64::from(k) / 16.0), light(f64::from(k + 1) / 16.0));
                assert!(a < b, "{eye:?} {k}: {a} {b}");
            }
        }
    }

    #[test]
    fn cividis_rises_in_lightness_and_reads_back() {
        let ramp = Ramp::cividis();
        assert_eq!(CIVIDIS_HEX.len(), 6 * 256);
        // relative luminance, weights of IEC 61966-2-1 for sRGB
        let light =
            |c: Rgb| 0.2126 * linear(c.0[0]) + 0.7152 * linear(c.0[1]) + 0.0722 * linear(c.0[2]);
        for k in 0..16 {
            let (a, b) = (
                ramp.at(f64::from(k) / 16.0),
                ramp.at(f64::from(k + 1) / 16.0),
            );
            assert!(light(a) < light(b), "{a:?} {b:?}");
        }
        for k in 0..=20 {
            let t = f64::from(k) / 20.0;
            let (back, off) = ramp.inverse(ramp.at(t));
            assert!((back - t).abs() <= 2.0 / 255.0 && off == 0.0, "{t} {back}");
        }
    }
}
