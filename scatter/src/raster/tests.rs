use super::*;

fn raster(width: usize, values: &[f32]) -> Raster {
    Raster {
        width,
        height: values.len() / width,
        values: values.to_vec(),
        scale: Scale::Stored,
    }
}

#[test]
fn cubics_pass_through_the_pixels_and_follow_planes() {
    let plane: Vec<f32> = (0..64)
        .map(|i| 2.0 * (i % 8) as f32 - 3.0 * (i / 8) as f32)
        .collect();
    let r = raster(8, &plane);
    for (u, v) in [(3.5, 4.5), (2.7, 5.1), (4.0, 2.2)] {
        let [value, du, dv] = r.cubic(u, v);
        let expected = 2.0 * (u - 0.5) - 3.0 * (v - 0.5);
        assert!((value - expected).abs() < 1e-12, "{u} {v} {value}");
        assert!((du - 2.0).abs() < 1e-12 && (dv + 3.0).abs() < 1e-12);
        assert!((r.linear(u, v) - expected).abs() < 1e-12);
    }
}

#[test]
fn slopes_are_the_change_of_the_value_and_continuous() {
    let bumps: Vec<f32> = (0..100).map(|i| ((i * 37) % 11) as f32).collect();
    let r = raster(10, &bumps);
    let step = 1e-6;
    for i in 0..400 {
        let (u, v) = (0.025 * f64::from(i) + 0.013, 9.7 - 0.022 * f64::from(i));
        let [_, du, dv] = r.cubic(u, v);
        let change =
            |a: f64, b: f64| (r.cubic(u + a, v + b)[0] - r.cubic(u - a, v - b)[0]) / (2.0 * step);
        assert!((change(step, 0.0) - du).abs() < 1e-4, "{u} {v}");
        assert!((change(0.0, step) - dv).abs() < 1e-4, "{u} {v}");
        // Across a pixel's middle
        let (before, after) = (r.cubic(4.5 - 1e-9, v), r.cubic(4.5 + 1e-9, v));
        assert!((0..3).all(|k| (before[k] - after[k]).abs() < 1e-6));
    }
}

#[test]
fn cubics_stay_within_their_overshoot() {
    let checks: Vec<f32> = (0..64).map(|i| ((i / 8 + i) % 2) as f32).collect();
    let r = raster(8, &checks);
    let (mut low, mut high) = (0.0_f64, 0.0_f64);
    for i in 0..10_000 {
        let value = r.cubic(f64::from(i % 100) * 0.08, f64::from(i / 100) * 0.08)[0];
        (low, high) = (low.min(value), high.max(value));
    }
    assert!(
        low >= -CUBIC_OVERSHOOT && high <= 1.0 + CUBIC_OVERSHOOT,
        "{low} {high}"
    );
}

#[test]
fn beyond_the_border_its_pixels_go_on() {
    let r = raster(2, &[1.0, 2.0, 3.0, 4.0]);
    assert_eq!(r.cubic(-100.0, -100.0), [1.0, 0.0, 0.0]);
    assert_eq!(r.cubic(1e300, 1e300), [4.0, 0.0, 0.0]);
    assert_eq!(r.linear(f64::INFINITY, 0.0), 2.0);
}

/// A grey 16-bit PNG.
fn png16(width: u32, height: u32, values: &[u16]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = ::png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(::png::ColorType::Grayscale);
    encoder.set_depth(::png::BitDepth::Sixteen);
    let data: Vec<u8> = values.iter().flat_map(|v| v.to_be_bytes()).collect();
    encoder
        .write_header()
        .unwrap()
        .write_image_data(&data)
        .unwrap();
    bytes
}

#[test]
fn sixteen_bits_are_kept() {
    let r = Raster::from_bytes(&png16(2, 1, &[1, 65535])).unwrap();
    assert_eq!(r.values(), [1.0 / 65535.0, 1.0]);
    assert_eq!((r.size(), r.scale()), ([2, 1], Scale::Share));
}

#[test]
fn broken_images_are_errors() {
    let good = png16(8, 8, &[7; 64]);
    for end in 0..good.len() - 12 {
        let error = Raster::from_bytes(&good[..end]).unwrap_err();
        assert!(!error.faults[0].problem.is_empty());
    }
    for i in 8..good.len() {
        let mut flipped = good.clone();
        flipped[i] ^= 0x55;
        // Either way, no panic
        let _ = Raster::from_bytes(&flipped);
    }
}

#[test]
fn an_image_that_says_it_is_huge_is_refused_before_it_is_made() {
    let mut bomb = png16(1, 1, &[0]);
    bomb[16..24].copy_from_slice(&[0, 1, 0, 0, 0, 1, 0, 0]);
    // The header's checksum no longer fits: put it right (CRC-32 of the PNG specification, annex D)
    let crc = bomb[12..29].iter().fold(u32::MAX, |mut crc, b| {
        crc ^= u32::from(*b);
        for _ in 0..8 {
            crc = if crc & 1 == 1 {
                0xedb8_8320 ^ (crc >> 1)
            } else {
                crc >> 1
            };
        }
        crc
    }) ^ u32::MAX;
    bomb[29..33].copy_from_slice(&crc.to_be_bytes());
    let error = Raster::from_bytes(&bomb).unwrap_err().to_string();
    assert!(error.contains("65536 x 65536"), "{error}");
}

#[test]
fn floats_are_kept_as_they_are_stored() {
    use ::exr::prelude::{
        AnyChannel, AnyChannels, Encoding, FlatSamples, Image, Layer, LayerAttributes, SmallVec,
        WritableImage,
    };
    let heights = vec![-3.25_f32, 1e-3, 812.5, 0.0, 7.0, -0.5];
    let mut channels = SmallVec::new();
    channels.push(AnyChannel::new("Y", FlatSamples::F32(heights.clone())));
    let image = Image::from_layer(Layer::new(
        (3, 2),
        LayerAttributes::default(),
        Encoding::SMALL_LOSSLESS,
        AnyChannels::sort(channels),
    ));
    let mut bytes = std::io::Cursor::new(Vec::new());
    image
        .write()
        .non_parallel()
        .to_buffered(&mut bytes)
        .unwrap();
    let bytes = bytes.into_inner();
    let r = Raster::from_bytes(&bytes).unwrap();
    assert_eq!(r.values(), heights);
    assert_eq!(
        (r.size(), r.scale(), r.range()),
        ([3, 2], Scale::Stored, [-3.25, 812.5])
    );
    for end in 4..bytes.len() {
        assert!(Raster::from_bytes(&bytes[..end]).is_err(), "{end} bytes");
    }
    for i in 4..bytes.len() {
        let mut flipped = bytes.clone();
        flipped[i] ^= 0x55;
        // Either way, no panic
        let _ = Raster::from_bytes(&flipped);
    }
}
