//! The pictures of textures, each once however many surfaces use it, as the artist's file held
//! them.

use crate::kit::{Material, Texture};

/// The folder beside USDA and JSON files that their pictures are copied into.
pub(super) const FOLDER: &str = "textures";

/// Longest name of a picture's file without its ending: well under what file systems take.
const MAX_NAME: usize = 64;

/// Pictures in the order that they were met; two textures of the same bytes are one picture.
#[derive(Debug, Default)]
pub(super) struct Pictures<'a> {
    found: Vec<(&'a Texture, String)>,
}

impl<'a> Pictures<'a> {
    /// The pictures of surfaces, in their order.
    pub(super) fn of(materials: impl Iterator<Item = &'a Material>) -> Self {
        let mut pictures = Self::default();
        for texture in materials.flat_map(Material::textures) {
            pictures.add(texture);
        }
        pictures
    }

    /// Where a texture's picture stands in the list, if it does.
    pub(super) fn position(&self, texture: &Texture) -> Option<usize> {
        let same = |(known, _): &(&Texture, String)| known.same_picture(texture);
        self.found.iter().position(same)
    }

    /// Adds a texture's picture, or finds the same one; returns where it stands.
    pub(super) fn add(&mut self, texture: &'a Texture) -> usize {
        self.position(texture).unwrap_or_else(|| {
            let name = self.file_name(texture);
            self.found.push((texture, name));
            self.found.len() - 1
        })
    }

    /// Each picture with the path of its file, relative to the delivery's folder.
    pub(super) fn files(&self) -> impl Iterator<Item = (&'a Texture, String)> {
        let path = |name: &String| format!("{FOLDER}/{name}");
        self.found
            .iter()
            .map(move |(texture, name)| (*texture, path(name)))
    }

    /// The path of a texture's file, relative to the delivery's folder; empty if its picture is not
    /// in the list.
    pub(super) fn path(&self, texture: &Texture) -> String {
        self.position(texture)
            .map_or_else(String::new, |i| format!("{FOLDER}/{}", self.found[i].1))
    }

    /// A free name that every file system takes: ASCII letters, digits, dashes and underscores, and
    /// the ending that tells the encoding, whatever the texture is called.
    fn file_name(&self, texture: &Texture) -> String {
        let ending = texture.encoding.extension();
        let name = texture.name.rsplit(['/', '\\']).next().unwrap_or_default();
        let stem = match name.rsplit_once('.') {
            Some((stem, end))
                if ["png", "jpg", "jpeg"].contains(&end.to_ascii_lowercase().as_str()) =>
            {
                stem
            }
            _ => name,
        };
        let keep = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        let plain = stem.chars().map(|c| if keep(c) { c } else { '-' });
        let mut plain: String = plain.take(MAX_NAME).collect();
        if !plain.contains(|c: char| c.is_ascii_alphanumeric()) {
            plain = "picture".to_owned();
        }
        let mut name = format!("{plain}.{ending}");
        let mut number = 2_u32;
        // Some file systems don't tell capitals from small letters
        while self
            .found
            .iter()
            .any(|(_, taken)| taken.eq_ignore_ascii_case(&name))
        {
            name = format!("{plain}-{number}.{ending}");
            number += 1;
        }
        name
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kit::Wrap;
    use crate::kit::image::Encoding;

    fn texture(name: &str, bytes: &[u8]) -> Texture {
        Texture {
            name: name.to_owned(),
            encoding: Encoding::Png,
            bytes: bytes.into(),
            width: 1,
            height: 1,
            wrap: [Wrap::Repeat; 2],
        }
    }

    #[test]
    fn files_have_names_that_stay_in_the_folder_and_bytes_come_once() {
        let textures = [
            ("bark.PNG", "a"),
            ("another name of the same", "a"),
            ("../../etc/Bark.png", "b"),
            ("\u{77f3}\u{5934}.png", "c"),
            ("C:\\x\\..", "d"),
            ("wet stone/.jpg", "e"),
            (&"long".repeat(99), "f"),
        ]
        .map(|(name, bytes)| texture(name, bytes.as_bytes()));
        let mut pictures = Pictures::default();
        let places: Vec<usize> = textures.iter().map(|t| pictures.add(t)).collect();
        assert_eq!(places, [0, 0, 1, 2, 3, 4, 5]);
        let files: Vec<String> = pictures.files().map(|(_, path)| path).collect();
        assert_eq!(
            files[..5],
            [
                "textures/bark.png",
                "textures/Bark-2.png",
                "textures/picture.png",
                "textures/picture-2.png",
                "textures/picture-3.png"
            ]
        );
        assert_eq!(files[5].len(), "textures/.png".len() + MAX_NAME);
        assert_eq!(pictures.path(&textures[1]), "textures/bark.png");
    }
}
