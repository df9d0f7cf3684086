//! Where the bytes come from, and files that are cut, broken, or claim more than they hold.

use std::fs;
use std::path::Path;

use glam::Vec3;
use rand::{Rng, RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use serde_json::json;

use super::{glb, square, square_with};
use crate::error::ErrorKind;
use crate::kit::gltf::{read, read_bytes};

#[test]
fn buffers_may_be_data_or_files_beside_the_document() {
    let place = tempfile::tempdir().unwrap();
    let (_, binary) = square();
    fs::create_dir(place.path().join("in")).unwrap();
    fs::write(place.path().join("in/a b.bin"), &binary).unwrap();
    let document = square_with(&[("/buffers/0/uri", json!("in/a%20b.bin"))]);
    let path = place.path().join("x.gltf");
    fs::write(&path, document.to_string()).unwrap();
    assert_eq!(
        read(&path).unwrap().objects[0].parts[0].mesh.indices.len(),
        6
    );

    // 76 zero bytes: a triangle list of six equal corners.
    let zeros = format!("data:application/octet-stream;base64,{}", "AAAA".repeat(26));
    let document = square_with(&[("/buffers/0/uri", json!(zeros))]);
    let parts = read_bytes(document.to_string().as_bytes(), Path::new(""))
        .unwrap()
        .into_parts();
    assert_eq!(parts[0].mesh.normals[0], Vec3::Y);
}

#[test]
fn a_buffer_outside_the_folder_is_refused() {
    let place = tempfile::tempdir().unwrap();
    let (_, binary) = square();
    let inner = place.path().join("inner");
    fs::create_dir(&inner).unwrap();
    fs::write(place.path().join("secret.bin"), &binary).unwrap();
    let absolute = place.path().join("secret.bin");
    let mut uris = vec![
        "../secret.bin".to_owned(),
        "%2e%2e/secret.bin".to_owned(),
        "a/../../secret.bin".to_owned(),
        absolute.to_str().unwrap().to_owned(),
        format!("file://{}", absolute.display()),
        "https://example.com/secret.bin".to_owned(),
        "..\\secret.bin".to_owned(),
        String::new(),
    ];
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(&absolute, inner.join("link.bin")).unwrap();
        uris.push("link.bin".to_owned());
    }
    for uri in uris {
        let document = square_with(&[("/buffers/0/uri", json!(uri))]);
        let path = inner.join("x.gltf");
        fs::write(&path, document.to_string()).unwrap();
        let error = read(&path).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Input);
        assert_eq!(error.faults[0].place, "buffers[0].uri", "{uri}: {error}");
        assert!(error.to_string().contains("x.gltf"), "{error}");
    }
}

#[test]
fn small_files_that_claim_much_are_refused_at_once() {
    let (_, binary) = square();
    // Half a million nodes that show one mesh of many primitives made of points.
    let primitive = json!({ "attributes": { "POSITION": 0 }, "mode": 0 });
    let document = square_with(&[
        ("/scenes/0/nodes", json!((0..100_000).collect::<Vec<_>>())),
        ("/nodes", json!(vec![json!({ "mesh": 0 }); 100_000])),
        ("/meshes/0/primitives", json!(vec![primitive; 1000])),
    ]);
    let error = read_bytes(&glb(&document, &binary), Path::new("")).unwrap_err();
    assert!(error.to_string().contains("200000 primitives"), "{error}");

    let text = format!("{{\"nodes\":[{}{{}}]}}", "{},".repeat(600_000));
    let error = read_bytes(text.as_bytes(), Path::new("")).unwrap_err();
    assert!(error.to_string().contains("600002 objects"), "{error}");

    let text = "[".repeat(1_000_000);
    assert!(read_bytes(text.as_bytes(), Path::new("")).is_err());
    let text = format!(
        "{{\"asset\":{{\"version\":\"2.0\"}},\"extras\":{}",
        "[".repeat(1_000_000)
    );
    assert!(read_bytes(text.as_bytes(), Path::new("")).is_err());
}

#[test]
fn a_folder_and_a_missing_file_are_told() {
    let place = tempfile::tempdir().unwrap();
    for path in [place.path().to_path_buf(), place.path().join("none.glb")] {
        let error = read(&path).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Input);
        assert_eq!(error.file.as_deref(), Some(path.as_path()));
    }
}

#[test]
fn a_file_cut_anywhere_is_refused() {
    let (document, binary) = square();
    let whole = glb(&document, &binary);
    for length in 0..whole.len() {
        let error = read_bytes(&whole[..length], Path::new("")).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Input, "{length} bytes");
    }
}

/// Seeded: the same files each time. Panics would fail the test; so would a good file that is
/// refused.
#[test]
fn no_mutation_of_a_good_file_makes_the_reader_panic() {
    const MUTATIONS: usize = 20_000;
    let (document, binary) = square();
    let good = glb(&document, &binary);
    assert!(read_bytes(&good, Path::new("")).is_ok());
    let json_end = 20 + u32::from_le_bytes([good[12], good[13], good[14], good[15]]) as usize;
    let digits: Vec<usize> = (20..json_end)
        .filter(|&i| good[i].is_ascii_digit())
        .collect();
    let mut random = Xoshiro256PlusPlus::seed_from_u64(20);
    let (mut read, mut refused) = (0, 0);
    for _ in 0..MUTATIONS {
        let mut bytes = good.clone();
        for _ in 0..random.random_range(1..4) {
            if bytes.is_empty() {
                break;
            }
            let at = random.random_range(0..bytes.len());
            match random.random_range(0..6) {
                0 => bytes[at] = (random.next_u32() & 0xff) as u8,
                1 => bytes[at] ^= 1 << random.random_range(0..8),
                2 => drop(bytes.drain(at..(at + random.random_range(1..40)).min(bytes.len()))),
                3 => bytes.truncate(at.max(1)),
                // Numbers of the document: another digit, or many more of them.
                4 => {
                    let at = digits[random.random_range(0..digits.len())].min(bytes.len() - 1);
                    bytes[at] = b'0' + random.random_range(0..10_u8);
                }
                _ => {
                    let at = digits[random.random_range(0..digits.len())].min(bytes.len() - 1);
                    let more = random.random_range(1..22);
                    bytes.splice(at..at, std::iter::repeat_n(b'9', more));
                    // The chunk grows with it, so that the document is still found whole.
                    if bytes.len() > 16 {
                        let length =
                            u32::from_le_bytes([bytes[12], bytes[13], bytes[14], bytes[15]]);
                        let length = length.wrapping_add(more as u32).to_le_bytes();
                        bytes[12..16].copy_from_slice(&length);
                        let total = (bytes.len() as u32).to_le_bytes();
                        bytes[8..12].copy_from_slice(&total);
                    }
                }
            }
        }
        match read_bytes(&bytes, Path::new("")) {
            Ok(_) => read += 1,
            Err(error) => {
                assert_eq!(error.kind, ErrorKind::Input);
                assert!(!error.faults[0].problem.is_empty() && !error.faults[0].hint.is_empty());
                refused += 1;
            }
        }
    }
    // Some mutations hit what does not matter; most do not.
    assert!(
        read > MUTATIONS / 50 && refused > MUTATIONS / 4,
        "{read} read, {refused} refused"
    );
}
