//! Records: bytes with a version and a checksum over them and their key, so that damage is told from what was kept.

/// What was found under a key.
pub(super) enum Found {
    Nothing,
    Bytes(Vec<u8>),
    Damage,
}

/// Version of the records, their first byte.
const VERSION: u8 = 1;
/// Bytes of a record's checksum, which follows.
const CHECK: usize = 16;

/// Version, checksum over key and bytes, bytes.
pub(super) fn record(key: &[u8], bytes: &[u8]) -> Vec<u8> {
    let mut out = Vec::with_capacity(1 + CHECK + bytes.len());
    out.push(VERSION);
    out.extend_from_slice(&check(key, bytes));
    out.extend_from_slice(bytes);
    out
}

fn check(key: &[u8], bytes: &[u8]) -> [u8; CHECK] {
    let mut hasher = blake3::Hasher::new();
    hasher.update(&(key.len() as u64).to_le_bytes()).update(key).update(bytes);
    let digest = hasher.finalize();
    std::array::from_fn(|i| digest.as_bytes()[i])
}

/// What is in a record that was found under this key.
pub(super) fn content(key: &[u8], record: &[u8]) -> Found {
    let Some((&version, rest)) = record.split_first() else { return Found::Damage };
    match rest.split_at_checked(CHECK) {
        // What another version of the program wrote is no damage.
        _ if version != VERSION && version < 16 => Found::Nothing,
        Some((sum, bytes)) if version == VERSION && sum == check(key, bytes) => Found::Bytes(bytes.to_vec()),
        _ => Found::Damage,
    }
}

/// The bytes in a record, if they are what was put there under this key.
#[must_use]
pub fn sound(key: &[u8], record: &[u8]) -> Option<Vec<u8>> {
    match content(key, record) {
        Found::Bytes(bytes) => Some(bytes),
        Found::Nothing | Found::Damage => None,
    }
}
