//! A frame in memory.

/// An image with brightness and two colour differences of eight bits each; the colour planes have half the
/// width.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    /// Width in pixels; always even.
    pub width: usize,
    /// Height in pixels; always even.
    pub height: usize,
    /// Brightness, `width` times `height`, row by row.
    pub luma: Vec<u8>,
    /// Blue difference, `width / 2` times `height`.
    pub blue: Vec<u8>,
    /// Red difference, `width / 2` times `height`.
    pub red: Vec<u8>,
}

/// Brightness of black, as an 8-bit video level (ITU-R BT.601).
pub(crate) const BLACK: f32 = 16.0;
/// Brightness of white, as an 8-bit video level (ITU-R BT.601).
pub(crate) const WHITE: f32 = 235.0;

impl Frame {
    /// A frame of one colour.
    #[must_use]
    pub fn plain(width: usize, height: usize, luma: u8, blue: u8, red: u8) -> Self {
        let colours = width / 2 * height;
        Self {
            width,
            height,
            luma: vec![luma; width * height],
            blue: vec![blue; colours],
            red: vec![red; colours],
        }
    }

    /// The brightness as a grey picture.
    #[must_use]
    pub fn to_grey(&self) -> image::GrayImage {
        image::GrayImage::from_raw(self.width as u32, self.height as u32, self.luma.clone())
            .unwrap_or_default()
    }

    /// The bytes of all planes, with colour at half the width and height: the mean of every two rows.
    #[must_use]
    pub(crate) fn bytes_420(&self) -> Vec<u8> {
        let mut bytes = self.luma.clone();
        for plane in [&self.blue, &self.red] {
            for rows in plane.chunks_exact(self.width) {
                let (upper, lower) = rows.split_at(self.width / 2);
                let mean = |(&a, &b): (&u8, &u8)| (u16::from(a) + u16::from(b)).div_ceil(2) as u8;
                bytes.extend(upper.iter().zip(lower).map(mean));
            }
        }
        bytes
    }

    /// The bytes of all planes, with colour at half the width.
    #[must_use]
    pub(crate) fn bytes_422(&self) -> Vec<u8> {
        [&self.luma[..], &self.blue, &self.red].concat()
    }
}

/// The rows of a frame to draw on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rows {
    /// Every row.
    All,
    /// Rows 0, 2, 4 ...: the first field.
    Even,
    /// Rows 1, 3, 5 ...: the second field.
    Odd,
}

impl Rows {
    /// Whether a row belongs to these rows.
    #[must_use]
    pub const fn contains(self, row: usize) -> bool {
        match self {
            Self::All => true,
            Self::Even => row.is_multiple_of(2),
            Self::Odd => !row.is_multiple_of(2),
        }
    }
}
