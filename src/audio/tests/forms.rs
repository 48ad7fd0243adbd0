//! Every form of WAV reads back what was written, at every rate.

use std::f64::consts::TAU;

use super::*;

#[test]
fn every_form_reads_back_what_was_written() {
    for (seed, form) in FORMS.iter().enumerate() {
        for channels in [1u16, 2, 8] {
            let written = noise(seed as u64, 5000 * usize::from(channels));
            let recording = read_bytes(&wav(*form, channels, RATE, &written)).unwrap();
            assert_eq!(
                (recording.channels(), recording.len()),
                (usize::from(channels), 5000)
            );
            // Half a unit of the file and half a unit of the store.
            let close = 0.5f32.powi(i32::from(form.bits.min(24))) * 1.1 + 0.51 * 0.9 / 32767.0;
            for c in 0..channels {
                let read = channel(&recording, usize::from(c));
                let expected = written.iter().skip(usize::from(c)).step_by(usize::from(channels));
                for (a, b) in read.iter().zip(expected) {
                    let scale = if form.tag == 1 {
                        1.0 - 0.5f64.powi(i32::from(form.bits) - 1)
                    } else {
                        1.0
                    };
                    assert!(
                        (a - (b * scale) as f32).abs() <= close,
                        "{} bit: {a} {b}",
                        form.bits
                    );
                }
            }
        }
    }
}

#[test]
fn files_of_another_writer_read_as_its_own_reader_reads_them() {
    use hound::SampleFormat::{Float, Int};
    for (bits_per_sample, sample_format) in [(8, Int), (16, Int), (24, Int), (32, Int), (32, Float)] {
        let spec = hound::WavSpec {
            channels: 2,
            sample_rate: RATE,
            bits_per_sample,
            sample_format,
        };
        let mut bytes = Cursor::new(Vec::new());
        let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
        let full = 2f64.powi(i32::from(bits_per_sample) - 1);
        for x in noise(7, 2000) {
            match sample_format {
                Int => writer.write_sample((x * full) as i32).unwrap(),
                Float => writer.write_sample(x as f32).unwrap(),
            }
        }
        writer.finalize().unwrap();
        let bytes = bytes.into_inner();
        let mut reader = hound::WavReader::new(Cursor::new(&bytes)).unwrap();
        let oracle: Vec<f32> = match sample_format {
            Int => reader
                .samples::<i32>()
                .map(|s| (f64::from(s.unwrap()) / full) as f32)
                .collect(),
            Float => reader.samples::<f32>().map(Result::unwrap).collect(),
        };
        let recording = read_bytes(&bytes).unwrap();
        let (left, right) = (channel(&recording, 0), channel(&recording, 1));
        assert_eq!(left.len(), oracle.len() / 2);
        for (i, pair) in oracle.chunks(2).enumerate() {
            assert!(
                (left[i] - pair[0]).abs() < 2e-5 && (right[i] - pair[1]).abs() < 2e-5,
                "{bits_per_sample} bit"
            );
        }
    }
}

#[test]
fn short_integers_in_the_lower_bits_of_their_containers_read_alike() {
    for signed in [true, false] {
        let written = noise(3, 3000);
        let low = |x: &f64| {
            let whole = (x * 8_388_607.0).round() as i32;
            if signed {
                whole.to_le_bytes()
            } else {
                (whole & 0x00FF_FFFF).to_le_bytes()
            }
        };
        let data: Vec<u8> = written.iter().flat_map(low).collect();
        let layout = form(1, 24, 4, true);
        let bytes = riff(&[format_chunk(layout, 1, RATE), chunk(b"data", &data)]);
        let read = channel(&read_bytes(&bytes).unwrap(), 0);
        assert!(
            read.iter()
                .zip(&written)
                .all(|(a, b)| (f64::from(*a) - b).abs() < 2e-5)
        );
    }
}

#[test]
fn a_resampled_sine_keeps_pitch_and_phase_to_a_twentieth_of_a_sample() {
    for &rate in RATES {
        let sine = |t: f64| 0.7 * (TAU * 441.0 * t).sin();
        let written: Vec<f64> = (0..rate).map(|i| sine(f64::from(i) / f64::from(rate))).collect();
        let read = channel(
            &read_bytes(&wav(form(3, 64, 8, false), 1, rate, &written)).unwrap(),
            0,
        );
        assert_eq!(read.len(), RATE as usize, "{rate}");
        // A twentieth of a sample on the steepest slope; the ends feel the silence outside.
        let allowed = 0.7 * TAU * 441.0 / f64::from(RATE) / 20.0;
        for (i, x) in read.iter().enumerate().take(40_000).skip(4000) {
            let expected = sine(i as f64 / f64::from(RATE));
            assert!(
                (f64::from(*x) - expected).abs() < allowed,
                "{rate}: sample {i} is {x}, not {expected}"
            );
        }
    }
}

#[test]
fn resampled_impulses_keep_their_place_within_a_sample() {
    for &rate in RATES {
        let places: Vec<usize> = [0.0, 0.1234, 0.5, 0.777]
            .iter()
            .map(|t| (t * f64::from(rate)) as usize)
            .collect();
        let mut written = vec![0.0; rate as usize];
        places.iter().for_each(|p| written[*p] = 0.9);
        let read = channel(&read_bytes(&wav(PCM, 1, rate, &written)).unwrap(), 0);
        for place in places {
            let expected = place as f64 * f64::from(RATE) / f64::from(rate);
            let near = (expected as usize).saturating_sub(200)..(expected as usize + 200).min(read.len());
            let peak = near.max_by(|a, b| read[*a].total_cmp(&read[*b])).unwrap();
            assert!(
                (peak as f64 - expected).abs() <= 1.0,
                "{rate}: {peak}, not {expected}"
            );
        }
    }
}
