//! Directories of TIFF files to bytes, in both byte orders, for test raws (TIFF 6.0, section 2).

/// Values of a tag.
#[derive(Clone, Debug, PartialEq)]
pub enum Values {
    /// Bytes.
    Bytes(Vec<u8>),
    /// Text, without its final zero byte.
    Text(String),
    /// 16-bit numbers.
    Shorts(Vec<u16>),
    /// 32-bit numbers.
    Longs(Vec<u32>),
    /// Fractions that are not negative.
    Ratios(Vec<(u32, u32)>),
    /// Fractions.
    SignedRatios(Vec<(i32, i32)>),
    /// Bytes of no stated meaning.
    Undefined(Vec<u8>),
    /// Bytes of no stated meaning that stand elsewhere in the file already: how many, and where.
    Placed(u32, u32),
}

/// The order of a file's bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// Least significant byte first ("II").
    Little,
    /// Most significant byte first ("MM").
    Big,
}

impl Order {
    /// A 16-bit number's bytes.
    #[must_use]
    pub fn short(self, v: u16) -> [u8; 2] {
        if self == Self::Little { v.to_le_bytes() } else { v.to_be_bytes() }
    }

    /// A 32-bit number's bytes.
    #[must_use]
    pub fn long(self, v: u32) -> [u8; 4] {
        if self == Self::Little { v.to_le_bytes() } else { v.to_be_bytes() }
    }

    /// The header of a file whose first directory is yet to be placed.
    #[must_use]
    pub fn header(self) -> Vec<u8> {
        let mut out = if self == Self::Little { b"II".to_vec() } else { b"MM".to_vec() };
        out.extend(self.short(42));
        out.extend([0; 4]);
        out
    }
}

impl Values {
    fn kind(&self) -> u16 {
        match self {
            Self::Bytes(_) => 1,
            Self::Text(_) => 2,
            Self::Shorts(_) => 3,
            Self::Longs(_) => 4,
            Self::Ratios(_) => 5,
            Self::Undefined(_) | Self::Placed(..) => 7,
            Self::SignedRatios(_) => 10,
        }
    }

    fn bytes(&self, order: Order) -> (usize, Vec<u8>) {
        let pairs = |a: u32, b: u32| [order.long(a), order.long(b)].concat();
        match self {
            Self::Bytes(v) | Self::Undefined(v) => (v.len(), v.clone()),
            Self::Text(v) => (v.len() + 1, [v.as_bytes(), &[0]].concat()),
            Self::Shorts(v) => (v.len(), v.iter().flat_map(|n| order.short(*n)).collect()),
            Self::Longs(v) => (v.len(), v.iter().flat_map(|n| order.long(*n)).collect()),
            Self::Ratios(v) => (v.len(), v.iter().flat_map(|(n, d)| pairs(*n, *d)).collect()),
            Self::SignedRatios(v) => {
                (v.len(), v.iter().flat_map(|(n, d)| pairs(n.cast_unsigned(), d.cast_unsigned())).collect())
            }
            Self::Placed(count, at) => (*count as usize, order.long(*at).to_vec()),
        }
    }
}

/// A directory that is to stand at `at`, its values behind it. A tag given twice counts as given last, and one without
/// values is left out. The directory is the last of its chain.
#[must_use]
pub fn standing(order: Order, at: usize, tags: &[(u16, Values)]) -> Vec<u8> {
    let sorted: std::collections::BTreeMap<u16, &Values> = tags.iter().map(|(tag, values)| (*tag, values)).collect();
    let entries: Vec<_> = sorted
        .into_iter()
        .map(|(tag, values)| (tag, values.kind(), values.bytes(order)))
        .filter(|(.., (count, _))| *count > 0)
        .collect();
    let behind = at + 2 + 12 * entries.len() + 4;
    let mut out = order.short(entries.len() as u16).to_vec();
    let mut far = Vec::new();
    for (tag, kind, (count, mut bytes)) in entries {
        if bytes.len() > 4 {
            let place = order.long((behind + far.len()) as u32).to_vec();
            far.append(&mut bytes);
            far.resize(far.len().next_multiple_of(2), 0);
            bytes = place;
        }
        bytes.resize(4, 0);
        out.extend(order.short(tag));
        out.extend(order.short(kind));
        out.extend(order.long(count as u32));
        out.extend(bytes);
    }
    out.extend([0; 4]);
    out.extend(far);
    out
}

/// Appends a directory and its values; returns where it stands.
pub fn append(out: &mut Vec<u8>, order: Order, tags: &[(u16, Values)]) -> u32 {
    out.resize(out.len().next_multiple_of(2), 0);
    let start = out.len();
    out.extend(standing(order, start, tags));
    start as u32
}

/// Makes the directory at `from` be followed by the one at `to`.
pub fn link(out: &mut [u8], order: Order, from: u32, to: u32) {
    let from = from as usize;
    let pair = [out[from], out[from + 1]];
    let count = if order == Order::Little { u16::from_le_bytes(pair) } else { u16::from_be_bytes(pair) };
    let end = from + 2 + 12 * usize::from(count);
    out[end..end + 4].copy_from_slice(&order.long(to));
}
