//! Textures: carried along whole, laid as the document says, left out with a warning when they
//! can't be read.

use std::fs;
use std::path::Path;

use serde_json::{Value, json};

use super::super::{Model, read_bytes};
use super::{glb, set, square};
use crate::kit::image::{Encoding, MAX_SIDE};
use crate::kit::{Alpha, Texture, Wrap};

/// 16 x 8 pixels: the left half (200, 40, 20), the right half (20, 60, 180). Made by libjpeg
/// (through Pillow 13.0), which decodes the middles of the halves as (201, 40, 20) and (20, 60,
/// 181).
const JPEG: &str = "/9j/4AAQSkZJRgABAQAAAQABAAD/2wBDAAMCAgMCAgMDAwMEAwMEBQgFBQQEBQoHBwYIDAoMDAsKCwsNDhIQDQ4RDgsLEBYQERMUFRUVDA8XGBYUGBIUFRT/2wBDAQMEBAUEBQkFBQkUDQsNFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBT/wAARCAAIABADAREAAhEBAxEB/8QAFAABAAAAAAAAAAAAAAAAAAAAB//EABQQAQAAAAAAAAAAAAAAAAAAAAD/xAAWAQEBAQAAAAAAAAAAAAAAAAAJBwj/xAAUEQEAAAAAAAAAAAAAAAAAAAAA/9oADAMBAAIRAxEAPwAPRxtsfkWGo//Z";

/// 2 x 1 pixels of grey and opacity.
fn png() -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, 2, 1);
    encoder.set_color(png::ColorType::GrayscaleAlpha);
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(&[10, 255, 200, 128]).unwrap();
    writer.finish().unwrap();
    bytes
}

/// The square with texture coordinates (its corners), the picture in its binary chunk, and changes
/// at JSON pointers.
fn textured(picture: &[u8], changes: &[(&str, Value)]) -> Vec<u8> {
    let (mut document, mut binary) = square();
    let uvs = binary.len();
    let corners: [[f32; 2]; 4] = [[0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]];
    binary.extend(corners.iter().flatten().flat_map(|v| v.to_le_bytes()));
    let image = binary.len();
    binary.extend(picture);
    let views = document["bufferViews"].as_array_mut().unwrap();
    views.push(json!({ "buffer": 0, "byteOffset": uvs, "byteLength": 32 }));
    views.push(json!({ "buffer": 0, "byteOffset": image, "byteLength": picture.len() }));
    let accessors = document["accessors"].as_array_mut().unwrap();
    accessors.push(json!({ "bufferView": 3, "componentType": 5126, "count": 4, "type": "VEC2" }));
    document["buffers"][0]["byteLength"] = json!(binary.len());
    document["meshes"][0]["primitives"][0]["attributes"]["TEXCOORD_0"] = json!(3);
    document["materials"][0]["pbrMetallicRoughness"]["baseColorTexture"] = json!({ "index": 0 });
    document["textures"] = json!([{ "source": 0 }]);
    document["images"] = json!([{ "bufferView": 4, "mimeType": "image/png", "name": "skin" }]);
    document["samplers"] = json!([{ "wrapS": 33071, "wrapT": 33648 }]);
    for (pointer, value) in changes {
        set(&mut document, pointer, value.clone());
    }
    glb(&document, &binary)
}

fn model(bytes: &[u8]) -> Model {
    read_bytes(bytes, Path::new("")).unwrap()
}

fn texture(model: &Model) -> Option<&Texture> {
    let material = &model.objects[0].parts[0].material;
    material.base_color_texture.as_deref()
}

/// The coordinates of the square's corners; without normals each of its two triangles has corners
/// of its own.
fn uvs(model: &Model) -> [[f32; 2]; 4] {
    let uvs = &model.objects[0].parts[0].mesh.uvs;
    assert_eq!((uvs.len(), uvs[3], uvs[4]), (6, uvs[0], uvs[2]));
    [uvs[0], uvs[1], uvs[2], uvs[5]]
}

#[test]
fn a_texture_keeps_its_bytes_and_shows_its_pixels() {
    let model = model(&textured(&png(), &[("/textures/0/sampler", json!(0))]));
    assert_eq!(model.warnings, [""; 0]);
    let texture = texture(&model).unwrap();
    assert_eq!(texture.name, "skin");
    assert_eq!(texture.encoding, Encoding::Png);
    assert_eq!(texture.encoding.mime(), "image/png");
    assert_eq!(*texture.bytes, *png());
    assert_eq!((texture.width, texture.height), (2, 1));
    assert_eq!(texture.wrap, [Wrap::Clamp, Wrap::Mirror]);
    let pixels = texture.decode().unwrap();
    assert_eq!(pixels, [10, 10, 10, 255, 200, 200, 200, 128]);
    assert_eq!(
        uvs(&model),
        [[0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]]
    );
}

#[test]
fn a_jpeg_shows_the_pixels_that_another_decoder_finds() {
    let uri = format!("data:image/jpeg;base64,{JPEG}");
    let model = model(&textured(&[], &[("/images/0", json!({ "uri": uri }))]));
    assert_eq!(model.warnings, [""; 0]);
    let texture = texture(&model).unwrap();
    assert_eq!(texture.encoding, Encoding::Jpeg);
    let pixels = texture.decode().unwrap();
    for (x, y, color) in [(2, 2, [201, 40, 20, 255]), (12, 5, [20, 60, 181, 255])] {
        let pixel = &pixels[4 * (16 * y + x)..][..4];
        for (found, wanted) in pixel.iter().zip(color) {
            // Decoders may differ by one step (T.83 allows it of the transform).
            assert!(found.abs_diff(wanted) <= 2, "{pixel:?} at {x}, {y}");
        }
    }
}

#[test]
fn coordinates_move_as_the_extension_says() {
    // KHR_texture_transform: scaled, then turned counter-clockwise by a quarter as seen on the
    // picture, then moved. Counter-clockwise on the picture, where v points down, +u turns to -v
    // and +v to +u.
    let transform = json!({ "offset": [0.25, 0.5], "rotation": std::f32::consts::FRAC_PI_2, "scale": [2.0, 3.0] });
    let info = json!({ "index": 0, "extensions": { "KHR_texture_transform": transform } });
    let place = "/materials/0/pbrMetallicRoughness/baseColorTexture";
    let model = model(&textured(&png(), &[(place, info)]));
    let wanted = [[3.25, 0.5], [3.25, -1.5], [0.25, -1.5], [0.25, 0.5]];
    for (uv, wanted) in uvs(&model).iter().zip(wanted) {
        for (c, w) in uv.iter().zip(wanted) {
            assert!((c - w).abs() < 1e-6, "{uv:?} {wanted:?}");
        }
    }
}

#[test]
fn the_set_that_the_material_names_is_used() {
    let name = |set: u32| json!({ "index": 0, "texCoord": set });
    let place = "/materials/0/pbrMetallicRoughness/baseColorTexture";
    let attributes = "/meshes/0/primitives/0/attributes";
    let sets = json!({ "POSITION": 0, "TEXCOORD_3": 3 });
    let read = model(&textured(
        &png(),
        &[(place, name(3)), (attributes, sets.clone())],
    ));
    assert_eq!(uvs(&read)[0], [0.0, 1.0]);
    let read = model(&textured(&png(), &[(place, name(2)), (attributes, sets)]));
    assert_eq!(texture(&read), None);
    assert!(
        read.warnings[0].contains("no TEXCOORD_2"),
        "{:?}",
        read.warnings
    );
}

#[test]
fn normals_and_roughness_are_carried_where_they_share_the_coordinates() {
    let own = json!({ "index": 0, "texCoord": 1 });
    let changes = [
        (
            "/materials/0/normalTexture",
            json!({ "index": 0, "scale": 0.5 }),
        ),
        (
            "/materials/0/pbrMetallicRoughness/metallicRoughnessTexture",
            own,
        ),
    ];
    let model = model(&textured(&png(), &changes));
    let material = &model.objects[0].parts[0].material;
    assert!(material.normal_texture.is_some());
    assert_eq!(material.normal_scale, 0.5);
    assert_eq!(material.metallic_roughness_texture, None);
    assert_eq!(model.warnings.len(), 1);
    assert!(model.warnings[0].contains("coordinates of its own"));
}

#[test]
fn opacity_is_read_as_it_is_meant() {
    let alpha = |changes: &[(&str, Value)]| {
        let model = model(&textured(&png(), changes));
        model.objects[0].parts[0].material.alpha
    };
    let mode = "/materials/0/alphaMode";
    assert_eq!(alpha(&[]), Alpha::Opaque);
    assert_eq!(alpha(&[(mode, json!("BLEND"))]), Alpha::Blend);
    assert_eq!(alpha(&[(mode, json!("MASK"))]), Alpha::Cut(0.5));
    let cutoff = ("/materials/0/alphaCutoff", json!(0.25));
    assert_eq!(alpha(&[(mode, json!("MASK")), cutoff]), Alpha::Cut(0.25));
}

#[test]
fn the_older_way_to_write_a_dielectric_is_understood() {
    let gloss = json!({ "diffuseFactor": [0.2, 0.3, 0.4, 1.0], "diffuseTexture": { "index": 0 }, "glossinessFactor": 0.25 });
    let extensions = json!({ "KHR_materials_pbrSpecularGlossiness": gloss });
    let model = model(&textured(
        &png(),
        &[("/materials/0/extensions", extensions)],
    ));
    let material = &model.objects[0].parts[0].material;
    assert_eq!(material.base_color, [0.2, 0.3, 0.4, 1.0]);
    assert_eq!((material.roughness, material.metallic), (0.75, 0.0));
    assert!(material.base_color_texture.is_some());
}

#[test]
fn glass_is_read_and_what_is_not_read_of_it_is_told() {
    let read = |extensions: Value| {
        let model = model(&textured(
            &png(),
            &[("/materials/0/extensions", extensions)],
        ));
        (model.objects[0].parts[0].material.glass, model.warnings)
    };
    let passing = || json!({ "transmissionFactor": 0.9 });
    // The specification's own values: index 1.5, a thin wall
    let (glass, told) = read(json!({ "KHR_materials_transmission": passing() }));
    let thin = crate::kit::Glass {
        transmission: 0.9,
        index: 1.5,
        body: None,
    };
    assert_eq!((glass, told.len()), (Some(thin), 0));
    let volume = json!({
        "thicknessFactor": 0.01, "attenuationDistance": 0.05, "attenuationColor": [0.2, 0.6, 0.3]
    });
    let (glass, _) = read(json!({
        "KHR_materials_transmission": passing(), "KHR_materials_ior": { "ior": 1.33 },
        "KHR_materials_volume": volume
    }));
    let body = crate::kit::GlassBody {
        color: [0.2, 0.6, 0.3],
        distance: 0.05,
    };
    let solid = crate::kit::Glass {
        transmission: 0.9,
        index: 1.33,
        body: Some(body),
    };
    assert_eq!(glass, Some(solid));
    assert_eq!(read(json!({ "KHR_materials_volume": {} })).0, None);
    for (extensions, word) in [
        (
            json!({ "KHR_materials_transmission": { "transmissionFactor": 1, "transmissionTexture": { "index": 0 } } }),
            "transmission is left out",
        ),
        (
            json!({ "KHR_materials_transmission": passing(), "KHR_materials_ior": { "ior": 0.0 } }),
            "refractive index of 0",
        ),
        (
            json!({ "KHR_materials_transmission": { "transmissionFactor": "all" } }),
            "KHR_materials_transmission is left out",
        ),
        (
            json!({ "KHR_materials_transmission": passing(),
                "KHR_materials_volume": { "thicknessFactor": 1, "thicknessTexture": { "index": 0 } } }),
            "thickness is left out",
        ),
    ] {
        let (_, told) = read(extensions);
        assert!(told.iter().any(|t| t.contains(word)), "{word}: {told:?}");
    }
}

#[test]
fn what_cannot_be_read_is_left_out_with_a_warning() {
    let mut huge = png();
    huge[16..24].copy_from_slice(&[0, 1, 0, 0, 0, 1, 0, 0]); // 65536 x 65536
    let crc = crc32(&huge[12..29]);
    huge[29..33].copy_from_slice(&crc.to_be_bytes());
    let image = |value: Value| ("/images/0", value);
    let cases: Vec<(Vec<u8>, (&str, Value), &str)> = vec![
        (
            vec![1, 2, 3],
            ("/images/0/name", json!("x")),
            "neither PNG nor JPEG",
        ),
        (
            png()[..20].to_vec(),
            ("/images/0/name", json!("x")),
            "can't be decoded",
        ),
        (huge, ("/images/0/name", json!("x")), "65536 x 65536"),
        (png(), image(json!({ "uri": "no-such.png" })), "no-such.png"),
        (
            png(),
            image(json!({ "uri": "../outside.png" })),
            "own folder",
        ),
        (
            png(),
            image(json!({ "uri": "/etc/hostname" })),
            "own folder",
        ),
        (
            png(),
            image(json!({ "uri": "https://example.org/a.png" })),
            "own folder",
        ),
        (
            png(),
            image(json!({ "uri": "file:///etc/hostname" })),
            "own folder",
        ),
        (
            png(),
            image(json!({ "uri": "data:image/png;base64,*" })),
            "data URI",
        ),
        (png(), image(json!({})), "no bytes"),
        (png(), image(json!({ "bufferView": 99 })), "does not exist"),
        (png(), ("/textures/0", json!({})), "form that is not read"),
        (png(), ("/textures/0/source", json!(7)), "does not exist"),
        (png(), ("/textures/0/sampler", json!(7)), "does not exist"),
    ];
    for (picture, change, warning) in cases {
        let model = model(&textured(&picture, std::slice::from_ref(&change)));
        assert_eq!(texture(&model), None, "{change:?}");
        assert_eq!(model.warnings.len(), 1, "{:?}", model.warnings);
        let text = &model.warnings[0];
        assert!(
            text.contains(warning) && text.starts_with("materials[0]"),
            "{text}"
        );
    }
}

#[test]
fn a_texture_beside_the_document_is_found() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("maps")).unwrap();
    fs::write(folder.path().join("maps/grün 1.png"), png()).unwrap();
    let uri = json!({ "uri": "maps/gr%C3%BCn%201.png" });
    let model = read_bytes(&textured(&[], &[("/images/0", uri)]), folder.path()).unwrap();
    assert_eq!(model.warnings, [""; 0]);
    assert_eq!(texture(&model).unwrap().width, 2);
}

/// A picture whose head is honest and whose data is a long row of zeros, packed a thousandfold.
#[test]
fn a_picture_that_unpacks_to_much_is_bounded() {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, MAX_SIDE, MAX_SIDE);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::One);
    let mut writer = encoder.write_header().unwrap();
    let rows = vec![0; MAX_SIDE as usize * MAX_SIDE as usize / 8];
    writer.write_image_data(&rows).unwrap();
    writer.finish().unwrap();
    assert!(bytes.len() < 200_000, "{}", bytes.len());
    let model = model(&textured(&bytes, &[]));
    assert_eq!(texture(&model), None);
    assert!(model.warnings[0].contains("16384 x 16384"));
}

#[test]
fn no_cut_picture_makes_the_decoder_panic() {
    let jpeg = {
        let uri = format!("data:image/jpeg;base64,{JPEG}");
        let model = model(&textured(&[], &[("/images/0", json!({ "uri": uri }))]));
        texture(&model).unwrap().bytes.to_vec()
    };
    let mut decoded = 0;
    for picture in [png(), jpeg] {
        for at in 0..picture.len() {
            let mut broken = picture.clone();
            broken[at] ^= 0x5a;
            for bytes in [picture[..at].to_vec(), broken] {
                if let Ok(texture) = Texture::new(String::new(), bytes.into(), [Wrap::Repeat; 2]) {
                    decoded += usize::from(texture.decode().is_ok());
                }
            }
        }
    }
    // Some changes do no harm: the check has looked into decoders, not only into heads.
    assert!(decoded > 10, "{decoded}");
}

/// The check sum of PNG chunks (W3C, PNG specification, annex D).
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |crc, _| {
            if crc & 1 == 1 {
                0xedb8_8320 ^ (crc >> 1)
            } else {
                crc >> 1
            }
        })
    })
}
