//! Charts of the spreadsheet's own, beside the table that they show.
//!
//! Invariant: a chart refers to cells of its sheet, so that it follows whatever is changed there.

use super::Grid;
use crate::charts::Kind;
use rust_xlsxwriter::{
    Chart, ChartErrorBars, ChartErrorBarsType, ChartMarker, ChartMarkerType, ChartRange, ChartSeries,
    ChartType, ConditionalFormat2ColorScale, Worksheet, XlsxError,
};

/// Size of a chart, px.
const SIZE: (u32, u32) = (760, 420);
/// Rows and columns of a sheet that a chart covers, about.
const COVERED: (u32, u16) = (22, 12);

/// A table on its sheet.
struct Plotted<'a> {
    grid: &'a Grid,
    /// Name of the sheet.
    name: &'a str,
    n_rows: u32,
}

/// Draws what the kind of chart says beside the table.
///
/// # Errors
/// If the sheet has no room for it.
pub(super) fn draw(sheet: &mut Worksheet, grid: &Grid, kind: &Kind, name: &str) -> Result<(), XlsxError> {
    let table = Plotted { grid, name, n_rows: grid.rows.len() as u32 };
    let all = table.number_columns();
    let charts = match kind {
        Kind::Rates(_) => vec![table.chart(ChartType::Column, &table.drawn(all.last()), 0)],
        Kind::Waterfall(_) => vec![table.chart(ChartType::Bar, &table.drawn(all.last()), 0)],
        Kind::Bars(_) => vec![table.chart(ChartType::Bar, &table.drawn(all.first()), 0)],
        Kind::Curve(_) => vec![table.chart(ChartType::Line, &table.drawn(all.first()), 0)],
        Kind::Shares(_) => vec![table.chart(ChartType::BarPercentStacked, &all, 0)],
        Kind::Bands(_) => vec![table.chart(ChartType::Line, all.get(1..).unwrap_or(&[]), 0)],
        Kind::Dots(_) => vec![table.chart(ChartType::Bar, &table.drawn(all.first()), 1)],
        Kind::Responses(responses) => {
            let drawn =
                |panel: &crate::charts::Panel| grid.columns.iter().position(|one| one.head() == panel.name);
            let columns = responses.panels.iter().filter_map(drawn).map(|column| column as u16);
            let y = all.last().copied().unwrap_or(0);
            columns
                .filter(|column| all.contains(column) && *column != y)
                .map(|x| table.scatter(x, y))
                .collect()
        }
        Kind::Cells(_) => {
            let scale =
                ConditionalFormat2ColorScale::new().set_minimum_color("FFFFFF").set_maximum_color("7FB2D1");
            if let (Some(first), Some(last)) = (all.first(), all.last()) {
                sheet.add_conditional_format(1, *first, table.n_rows, *last, &scale)?;
            }
            vec![table.chart(ChartType::Line, &all, 0)]
        }
    };
    let beside = grid.columns.len() as u16 + 1;
    for (n, chart) in (0u16..).zip(charts) {
        let (row, column) = (1 + COVERED.0 * u32::from(n / 2), beside + COVERED.1 * (n % 2));
        sheet.insert_chart(row, column, &chart)?;
    }
    Ok(())
}

impl Plotted<'_> {
    fn number_columns(&self) -> Vec<u16> {
        (0u16..).zip(&self.grid.columns).filter(|(_, column)| !column.is_text).map(|(n, _)| n).collect()
    }

    /// The column that the picture shows, or another one if the table does not say.
    fn drawn(&self, otherwise: Option<&u16>) -> Vec<u16> {
        let is_drawn = |title: &String| self.grid.columns.iter().position(|column| column.title == *title);
        let said = self.grid.drawn.as_ref().and_then(is_drawn).map(|column| column as u16);
        said.or(otherwise.copied()).into_iter().collect()
    }

    /// A series for each of the columns, with its error where the next column has it; names in the columns 0 to `names`.
    fn chart(&self, sort: ChartType, columns: &[u16], names: u16) -> Chart {
        let mut chart = Chart::new(sort);
        for column in columns {
            let series = chart.add_series();
            series
                .set_name((self.name, 0, *column))
                .set_categories((self.name, 1, 0, self.n_rows, names))
                .set_values((self.name, 1, *column, self.n_rows, *column));
            self.add_error(series, *column);
        }
        if matches!(sort, ChartType::Bar | ChartType::BarPercentStacked) {
            // Spreadsheets draw the first row at the bottom otherwise.
            chart.y_axis().set_reverse();
        }
        if columns.len() == 1 {
            chart.legend().set_hidden();
        }
        self.finish(chart)
    }

    fn add_error(&self, series: &mut ChartSeries, column: u16) {
        let error = column + 1;
        if self.grid.columns.get(usize::from(error)).is_none_or(|next| next.title != "+-") {
            return;
        }
        let range = ChartRange::new_from_range(self.name, 1, error, self.n_rows, error);
        let bars = ChartErrorBars::new().set_type(ChartErrorBarsType::Custom(range.clone(), range)).clone();
        // Bars that lie along x have their errors there; others leave that out.
        series.set_x_error_bars(&bars).set_y_error_bars(&bars);
    }

    /// One column against another.
    fn scatter(&self, x: u16, y: u16) -> Chart {
        let mut chart = Chart::new(ChartType::Scatter);
        let mut marker = ChartMarker::new();
        marker.set_type(ChartMarkerType::Circle).set_size(4);
        chart
            .add_series()
            .set_categories((self.name, 1, x, self.n_rows, x))
            .set_values((self.name, 1, y, self.n_rows, y))
            .set_marker(&marker);
        let head = |column: u16| self.grid.columns.get(usize::from(column)).map(|column| column.head());
        chart.x_axis().set_name(head(x).unwrap_or_default().as_str());
        chart.y_axis().set_name(head(y).unwrap_or_default().as_str());
        chart.legend().set_hidden();
        self.finish(chart)
    }

    fn finish(&self, mut chart: Chart) -> Chart {
        chart.title().set_name(&self.grid.title);
        chart.set_width(SIZE.0).set_height(SIZE.1);
        chart
    }
}
