//! JPEG XL inside a raw file, by jxl-oxide: whole numbers of up to 16 bits, and floating-point ones.

use jxl_oxide::{JxlImage, JxlThreadPool, Render};

use super::super::sensor::Refused;
use super::layout::Layout;

/// The rendered samples of a segment that must have `rows` rows.
fn render(layout: &Layout, bytes: &[u8], rows: usize) -> Result<Render, Refused> {
    let broken = || Refused::Broken("its compressed data are damaged".into());
    // Where there are several segments, they are decoded side by side; a lone one uses all threads itself.
    let pool = if layout.places.len() > 1 { JxlThreadPool::none() } else { JxlThreadPool::rayon_global() };
    let image = JxlImage::builder().pool(pool).read(bytes).map_err(|_| broken())?;
    let size = (image.width() as usize, image.height() as usize);
    if size != (layout.segment.0, rows) || !image.is_loading_done() {
        return Err(broken());
    }
    image.render_frame(0).map_err(|_| broken())
}

/// Samples row by row, as floating-point numbers whose nominal range is 0 to 1.
fn rows_of(render: &Render, layout: &Layout, rows: usize, mut with: impl FnMut(&[f32])) -> Result<(), Refused> {
    let mut stream = render.stream_no_alpha();
    if stream.channels() as usize != layout.segment_channels() {
        return Err(Refused::Broken("its compressed data hold another number of colours than it says".into()));
    }
    let mut row = vec![0.0_f32; layout.segment.0 * layout.segment_channels()];
    for _ in 0..rows {
        if stream.write_to_buffer(&mut row) != row.len() {
            return Err(Refused::Broken("its compressed data end early".into()));
        }
        with(&row);
    }
    Ok(())
}

/// Whole samples: the range that the stream says is full is that of the file's bits.
pub(super) fn words(layout: &Layout, bytes: &[u8], rows: usize) -> Result<Vec<u16>, Refused> {
    let top = ((1_u32 << layout.bits.min(16)) - 1) as f32;
    let render = render(layout, bytes, rows)?;
    let mut out = Vec::with_capacity(layout.segment.0 * layout.segment_channels() * rows);
    // The cast from float saturates at both ends.
    rows_of(&render, layout, rows, |row| out.extend(row.iter().map(|v| (v * top + 0.5).min(top) as u16)))?;
    Ok(out)
}

/// Floating-point samples.
pub(super) fn floats(layout: &Layout, bytes: &[u8], rows: usize) -> Result<Vec<f32>, Refused> {
    let render = render(layout, bytes, rows)?;
    let mut out = Vec::with_capacity(layout.segment.0 * layout.segment_channels() * rows);
    rows_of(&render, layout, rows, |row| out.extend_from_slice(row))?;
    Ok(out)
}
