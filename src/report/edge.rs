//! A slanted edge's response to text, JSON and a chart.

use plotters::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use crate::measure::esfr::EdgeResponse;
use crate::measure::sharpened;
use crate::quantity::Region;

/// `tussock edge --json`.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct EdgeView {
    /// Always `tussock.edge`.
    pub format: &'static str,
    /// Version of this format.
    pub version: u32,
    /// The file as named.
    pub file: String,
    /// Region measured, px of the upright picture: x, y, width, height.
    pub region: [u32; 4],
    /// Frequency of half contrast, cycles a pixel.
    pub mtf50: f64,
    /// Its standard deviation.
    pub mtf50_sd: f64,
    /// The same, line pairs a millimetre on the sensor; null where the pixel pitch is unknown.
    pub mtf50_lp_mm: Option<f64>,
    /// 10-90 % rise, px.
    pub rise_px: f64,
    /// Its standard deviation.
    pub rise_px_sd: f64,
    /// Gaussian-equivalent sigma 0.187391 / MTF50, px.
    pub blur_px: f64,
    /// Its standard deviation.
    pub blur_px_sd: f64,
    /// Angle between the edge and the nearer pixel axis, degrees.
    pub angle_deg: f64,
    /// Whether the edge runs nearer to the vertical.
    pub vertical: bool,
    /// Step over the noise of a sample.
    pub snr: f64,
    /// Overshoot as a share of the step.
    pub overshoot: f64,
    /// (cycles a pixel, modulation).
    pub mtf: Vec<(f64, f64)>,
    /// (px from the edge along its normal, share of the step).
    pub esf: Vec<(f64, f64)>,
}

impl EdgeView {
    /// A view of one response; `pitch_um` where known.
    #[must_use]
    pub fn new(file: &str, region: Region, edge: &EdgeResponse, pitch_um: Option<f64>) -> Self {
        Self {
            format: "tussock.edge",
            version: 1,
            file: file.to_owned(),
            region: [region.x, region.y, region.width, region.height],
            mtf50: edge.mtf50.value,
            mtf50_sd: edge.mtf50.sd,
            mtf50_lp_mm: pitch_um.map(|p| edge.mtf50.value * 1000.0 / p),
            rise_px: edge.rise.value,
            rise_px_sd: edge.rise.sd,
            blur_px: edge.sigma.value,
            blur_px_sd: edge.sigma.sd,
            angle_deg: edge.angle_deg,
            vertical: edge.vertical,
            snr: edge.snr,
            overshoot: edge.overshoot,
            mtf: edge.mtf.clone(),
            esf: edge.esf.clone(),
        }
    }

    /// What a person reads.
    #[must_use]
    pub fn text(&self) -> String {
        let millimetre = self.mtf50_lp_mm.map_or(String::new(), |lp| format!(" ({lp:.1} line pairs a mm)"));
        let course = if self.vertical { "vertical" } else { "horizontal" };
        let sharpened = if sharpened::shown_by_edge(self.overshoot) {
            format!(
                "\nThe edge overshoots by {:.0} % as sharpening makes it: the blur reads too small.",
                self.overshoot * 100.0
            )
        } else {
            String::new()
        };
        format!(
            "{}: edge {:.1} degrees off the {course}, step {:.0} times the noise\n\
             MTF50       {:.4} +- {:.4} cycles a pixel{millimetre}\n\
             10-90 %     {:.3} +- {:.3} px\n\
             blur sigma  {:.3} +- {:.3} px{sharpened}\n",
            self.file,
            self.angle_deg,
            self.snr.min(9999.0),
            self.mtf50,
            self.mtf50_sd,
            self.rise_px,
            self.rise_px_sd,
            self.blur_px,
            self.blur_px_sd,
        )
    }

    /// The MTF curve, half contrast marked, as an SVG picture.
    ///
    /// # Errors
    /// What the drawing library refuses.
    pub fn chart(&self) -> anyhow::Result<String> {
        let mut svg = String::new();
        {
            let area = SVGBackend::with_string(&mut svg, (720, 440)).into_drawing_area();
            area.fill(&WHITE)?;
            let mut chart = ChartBuilder::on(&area)
                .margin(16)
                .x_label_area_size(44)
                .y_label_area_size(52)
                .build_cartesian_2d(0.0..1.0, 0.0..1.2)?;
            chart
                .configure_mesh()
                .x_desc("cycles a pixel")
                .y_desc("modulation")
                .light_line_style(WHITE)
                .axis_desc_style(("sans-serif", 15))
                .label_style(("sans-serif", 13))
                .draw()?;
            let ink = RGBColor(20, 70, 90);
            let limit = RGBColor(150, 150, 150);
            // Beyond the sampling frequency of the sensor's own half the picture itself folds; mark it.
            chart.draw_series(std::iter::once(PathElement::new(vec![(0.5, 0.0), (0.5, 1.2)], limit)))?;
            let shown = self.mtf.iter().map(|&(f, m)| (f, m.clamp(0.0, 1.2)));
            chart.draw_series(LineSeries::new(shown, ink.stroke_width(2)))?;
            let half = self.mtf50.clamp(0.0, 1.0);
            chart.draw_series(std::iter::once(Circle::new((half, 0.5), 5, ink.filled())))?;
            let note = format!("MTF50 {:.4} +- {:.4}", self.mtf50, self.mtf50_sd);
            chart.draw_series(std::iter::once(Text::new(
                note,
                ((half + 0.02).min(0.72), 0.54),
                ("sans-serif", 15).into_font().color(&ink),
            )))?;
            chart.draw_series(std::iter::once(Text::new(
                "half the sampling frequency",
                (0.51, 1.17),
                ("sans-serif", 12).into_font().color(&RGBColor(110, 110, 110)),
            )))?;
            area.present()?;
        }
        Ok(svg)
    }
}
