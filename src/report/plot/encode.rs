//! Pixels as a PNG. A plot holds few colours, so each pixel is written as its number in a palette: a third of the
//! bytes to go through, and a far smaller file.

use png::EncodingError;

use crate::analysis::coded::QuickMap;

/// Red, green and blue.
type Color = [u8; 3];

/// The number of every colour in a palette.
type Numbers = QuickMap<Color, u8>;

/// The most colours a palette holds.
const PALETTE: usize = 256;

/// Pixels of three bytes, row by row, as a PNG.
///
/// # Errors
/// A picture without pixels, or of another size than said.
pub fn png(pixels: &[u8], width: u32, height: u32) -> Result<Vec<u8>, EncodingError> {
    let mut out = vec![];
    let mut encoder = png::Encoder::new(&mut out, width, height);
    encoder.set_depth(png::BitDepth::Eight);
    // most rows are as the one above, which is then nothing to write
    encoder.set_compression(png::Compression::Fast);
    encoder.set_filter(png::FilterType::Up);
    match numbered(pixels) {
        Some((palette, numbers)) => {
            encoder.set_color(png::ColorType::Indexed);
            encoder.set_palette(palette.concat());
            encoder.write_header()?.write_image_data(&numbers)?;
        }
        None => {
            encoder.set_color(png::ColorType::Rgb);
            encoder.write_header()?.write_image_data(pixels)?;
        }
    }
    Ok(out)
}

/// The colours, most used first, and each pixel's number among them; `None` where there are too many.
///
/// Where letters are smoothed there are more than a palette holds, each on a few pixels: then one or two of the last
/// bits are let go, which no eye sees, and a colour stands for all that look like it.
fn numbered(pixels: &[u8]) -> Option<(Vec<Color>, Vec<u8>)> {
    let color = |p: &[u8]| [p[0], p[1], p[2]];
    let mut counts: QuickMap<Color, usize> = QuickMap::default();
    // most pixels are as the one before: a run is counted at once
    let mut run = (color(pixels.get(..3)?), 0);
    for p in pixels.chunks_exact(3).map(color) {
        if p != run.0 {
            *counts.entry(run.0).or_default() += run.1;
            run = (p, 0);
        }
        run.1 += 1;
    }
    *counts.entry(run.0).or_default() += run.1;
    let mut used: Vec<(Color, usize)> = counts.into_iter().collect();
    used.sort_by_key(|&(color, count)| (std::cmp::Reverse(count), color));
    let (palette, number) = [0, 1, 2, 3].into_iter().find_map(|bits| standing_for(&used, bits))?;
    let mut last = (color(pixels.get(..3)?), number[&color(pixels.get(..3)?)]);
    let numbers = pixels.chunks_exact(3).map(color).map(|p| {
        if p != last.0 {
            last = (p, number[&p]);
        }
        last.1
    });
    Some((palette, numbers.collect()))
}

/// A palette in which colours alike but for their last `bits` share one entry, the most used of them; and each
/// colour's number in it. `None` where it would be too long.
fn standing_for(used: &[(Color, usize)], bits: u8) -> Option<(Vec<Color>, Numbers)> {
    let mut palette: Vec<Color> = vec![];
    let mut alike = Numbers::default();
    let mut number = Numbers::default();
    for &(color, _) in used {
        let rough = color.map(|c| c >> bits);
        let at = match alike.get(&rough) {
            Some(&at) => at,
            None if palette.len() == PALETTE => return None,
            None => {
                palette.push(color);
                alike.insert(rough, (palette.len() - 1) as u8);
                (palette.len() - 1) as u8
            }
        };
        number.insert(color, at);
    }
    Some((palette, number))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By a decoder that is not ours.
    fn decoded(file: &[u8]) -> Vec<u8> {
        let mut decoder = png::Decoder::new(file);
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size()];
        let size = reader.next_frame(&mut pixels).unwrap().buffer_size();
        pixels.truncate(size);
        pixels
    }

    #[test]
    fn few_colours_come_back_as_they_were() {
        let pixels: Vec<u8> = (0..64u8).flat_map(|i| [[255; 3], [34, 34, 34], [i, 0, 9]].concat()).collect();
        assert_eq!(decoded(&png(&pixels, 64, 3).unwrap()), pixels);
    }

    #[test]
    fn many_colours_come_back_as_good_as_they_were() {
        let pixels: Vec<u8> = (0..1024u32).flat_map(|i| [(i % 256) as u8, (i / 4) as u8, (i / 256) as u8]).collect();
        let back = decoded(&png(&pixels, 32, 32).unwrap());
        assert_eq!(back.len(), pixels.len());
        assert!(back.iter().zip(&pixels).all(|(a, b)| a.abs_diff(*b) < 8));
    }

    #[test]
    fn more_colours_than_any_palette_holds_come_back_as_they_were() {
        let pixels: Vec<u8> =
            (0..40_000u32).flat_map(|i| [(i * 7) as u8, (i * 31 / 5) as u8, (i / 157) as u8]).collect();
        assert_eq!(decoded(&png(&pixels, 200, 200).unwrap()), pixels);
    }
}
