//! Files that claim or unpack to much are refused in little memory.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use harness::Dir;
use scatter_tests::bad_input::base;
use serde_json::json;

/// A file that unpacks a thousandfold, or says that it would, is refused in little memory: the
/// whole command runs in 1.5 GB of addresses, of which threads' stacks and the allocator take most.
#[test]
fn pictures_that_unpack_to_gigabytes_are_refused_in_little_memory() {
    // An honest head, and 30,000 x 30,000 pixels of zeros: 3.6 GB as floats
    let side = 30_000;
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, side, side);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::One);
    let mut writer = encoder.write_header().expect("a head");
    let rows = vec![0; side as usize * side as usize / 8];
    writer.write_image_data(&rows).expect("its pixels");
    writer.finish().expect("an end");
    assert!(bytes.len() < 500_000, "{}", bytes.len());
    let dir = Dir::new();
    dir.write("grey.png", bytes);
    for (place, change) in [
        (
            "/ground",
            json!({ "image": { "file": "grey.png", "extent": ["4 m", "4 m"], "heights": ["0 m", "1 m"] } }),
        ),
        (
            "/passes/0/gather",
            json!([{ "mask": { "file": "grey.png", "extent": ["4 m", "4 m"] } }]),
        ),
    ] {
        let mut shot = base();
        let (parent, key) = place.rsplit_once('/').expect("a pointer");
        shot.pointer_mut(parent).expect("a place")[key] = change;
        dir.write("shot.json", shot.to_string());
        dir.run_in_memory(&["dress", "shot.json"], 1_500_000)
            .status(2)
            .stderr_has("30000 x 30000");
    }
}
