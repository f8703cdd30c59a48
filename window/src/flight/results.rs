//! The results computed from the legs: the table of airspeeds, the plot of speed against throttle, flags and
//! notes.

use egui::{Color32, Grid, RichText, Role, ScrollArea, Ui, WidgetInfo};
use egui_plot::{FilledArea, GridMark, Line, PlotBounds, PlotUi, Points};

use super::action::LegAction;
use super::timeline::{marks, still};
use super::view_model::ViewModel;
use crate::theme::{self, Colours};
use crate::wording;
use pairspeed::advice::Advice;
use pairspeed::airspeed::Pair;
use pairspeed::flight::Flight;
use pairspeed::output::axis::Axis;
use pairspeed::output::result_rows::{HEADINGS, Row, remark, rows};
use pairspeed::output::terminal_table::no_answer;
use pairspeed::output::throttle_bars::{ErrorBar, axis_limits, bars, by_throttle, curve};
use pairspeed::output::words::{speed_symbol, step_name, throttle_origin, with_symbol};
use pairspeed::output::{advice, blanks, conditions, propulsion, unread};
use pairspeed::visible;

/// Height of the plot of speed against throttle, in points (set by judgement).
const PLOT: f32 = 210.0;
/// Half the width of the end caps of an error bar, in per cent of the width of the plot (set by judgement).
const CAP: f64 = 0.8;

/// Shows the results; a click on a pair selects the earlier of its two legs.
pub(super) fn show(ui: &mut Ui, view_model: &ViewModel<'_>, actions: &mut Vec<LegAction>) {
    let flight = view_model.flight;
    ui.add_space(4.0);
    ui.label(RichText::new("Airspeed").strong().size(17.0));
    let rows = rows(flight);
    if rows.is_empty() {
        ui.label(no_answer(flight));
        unread(ui, flight);
    } else {
        table(ui, flight, &rows, actions);
        throttle_plot(ui, flight);
        remarks(ui, flight, &rows);
        unread(ui, flight);
    }
    if !flight.legs.is_empty() {
        ui.label(throttle_origin(flight.throttle_source));
    }
    notes(ui, flight);
}

fn table(ui: &mut Ui, flight: &Flight, rows: &[Row<'_>], actions: &mut Vec<LegAction>) {
    let speed = speed_symbol(flight);
    ui.label(format!(
        "Speeds in {}, pack voltage in V. The interval contains the true value 19 times out of 20.",
        of(speed)
    ));
    ScrollArea::horizontal().id_salt("answer").show(ui, |ui| {
        Grid::new("answer").striped(true).spacing([12.0, 5.0]).show(ui, |ui| {
            for heading in HEADINGS {
                ui.label(RichText::new(heading).small().strong());
            }
            ui.end_row();
            for row in rows {
                let cells = row.cells();
                for (column, cell) in cells.iter().enumerate() {
                    match (column, row) {
                        (0, Row::Pair(pair)) => pair_link(ui, cell, pair, actions),
                        (3, _) => {
                            ui.label(RichText::new(cell).strong());
                        }
                        _ => {
                            ui.label(cell);
                        }
                    }
                }
                ui.end_row();
            }
        });
    });
}

fn of(symbol: &str) -> &str {
    if symbol.is_empty() { "the unit shown" } else { symbol }
}

fn pair_link(ui: &mut Ui, step: &str, pair: &Pair, actions: &mut Vec<LegAction>) {
    let (upwind, downwind) = (pair.legs.upwind + 1, pair.legs.downwind + 1);
    let label = format!("{step}, legs {upwind} and {downwind}");
    let response = ui.link(step);
    response.widget_info(|| WidgetInfo::labeled(Role::Link, true, &label));
    if response
        .on_hover_text(format!("Legs {upwind} and {downwind}: click to select the earlier one"))
        .clicked()
    {
        actions.push(LegAction::Select(upwind.min(downwind)));
    }
}

/// Plots the airspeeds of the pairs and patterns against throttle, with their intervals, and the fitted curve with
/// its 95 % band.
fn throttle_plot(ui: &mut Ui, flight: &Flight) {
    let (bars, curve) = (bars(flight), curve(flight));
    let Some([left, right, low, high]) = axis_limits(&bars, &curve, by_throttle(flight)) else { return };
    let colours = theme::colours(ui);
    let across = if by_throttle(flight) { "throttle, %" } else { "throttle step" };
    let label = format!("Airspeed against {across}, with 95 % intervals");
    let least_step = if by_throttle(flight) { 10.0 } else { 1.0 };
    let response = still("airspeed against throttle", &colours)
        .height(PLOT)
        .x_axis_label(across)
        .y_axis_label(with_symbol("airspeed,", speed_symbol(flight)))
        .x_grid_spacer(move |_| marks(Axis::between(left, right, least_step).as_ref()))
        .x_axis_formatter(|mark: GridMark, _| whole(mark.value))
        .y_grid_spacer(move |_| marks(Axis::between(low, high, (high - low) / 7.0).as_ref()))
        .sense(egui::Sense::hover())
        .show(ui, |plot| {
            plot.set_plot_bounds(PlotBounds::from_min_max([left, low], [right, high]));
            band(plot, &curve, &colours);
            for bar in &bars {
                interval(plot, bar, (right - left) / 100.0 * CAP, colours.airspeed);
            }
            let middles: Vec<[f64; 2]> =
                bars.iter().map(|bar| [bar.throttle_or_step, bar.airspeed]).collect();
            plot.points(Points::new("", middles).color(colours.airspeed).radius(4.0).allow_hover(false));
        })
        .response;
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &label));
}

fn whole(value: f64) -> String {
    if (value - value.round()).abs() < 1e-6 { format!("{value:.0}") } else { String::new() }
}

fn band(plot: &mut PlotUi<'_>, curve: &[ErrorBar], colours: &Colours) {
    if curve.is_empty() {
        return;
    }
    let of = |of: fn(&ErrorBar) -> f64| curve.iter().map(of).collect::<Vec<f64>>();
    let fill = colours.airspeed.gamma_multiply(0.2);
    plot.add(
        FilledArea::new("", &of(|at| at.throttle_or_step), &of(|at| at.low), &of(|at| at.high))
            .fill_color(fill)
            .allow_hover(false),
    );
    let line: Vec<[f64; 2]> = curve.iter().map(|at| [at.throttle_or_step, at.airspeed]).collect();
    plot.line(Line::new("", line).color(colours.airspeed.gamma_multiply(0.7)).width(1.5).allow_hover(false));
}

fn interval(plot: &mut PlotUi<'_>, bar: &ErrorBar, cap: f64, colour: Color32) {
    let (left, right) = (bar.throttle_or_step - cap, bar.throttle_or_step + cap);
    let stem = vec![[bar.throttle_or_step, bar.low], [bar.throttle_or_step, bar.high]];
    for line in [stem, vec![[left, bar.low], [right, bar.low]], vec![[left, bar.high], [right, bar.high]]] {
        plot.line(Line::new("", line).color(colour).width(2.0).allow_hover(false));
    }
}

/// Shows the warnings about each pair.
fn remarks(ui: &mut Ui, flight: &Flight, rows: &[Row<'_>]) {
    for row in rows {
        let Row::Pair(pair) = row else { continue };
        let remark = remark(flight, pair);
        if !remark.is_empty() {
            let step = step_name(pair.throttle_percent, Some(pair.step));
            ui.horizontal_wrapped(|ui| {
                ui.colored_label(theme::colours(ui).unsure, format!("{step} (pair {}):", pair.pair));
                ui.label(visible::line(&remark));
            });
        }
    }
}

/// Shows the channels that cannot be read, each with the reason and, if there are frames to label, with what to do
/// next.
fn unread(ui: &mut Ui, flight: &Flight) {
    for unread in &flight.legibility.unread {
        ui.add_space(2.0);
        ui.colored_label(theme::colours(ui).unsure, visible::line(&unread::sentence(unread)));
        if !unread.label_at_s.is_empty() {
            ui.label(format!("Next: {}.", wording::advice(Advice::TeachDigits)));
        }
    }
}

fn notes(ui: &mut Ui, flight: &Flight) {
    let sentences: Vec<String> = conditions::sentences(flight)
        .into_iter()
        .chain(propulsion::sentences(flight))
        .chain(blanks::sentences(flight))
        .chain(flight.notes.iter().map(ToString::to_string))
        .chain(advice(flight).into_iter().map(|next| format!("Next: {}.", wording::advice(next))))
        .collect();
    if sentences.is_empty() {
        return;
    }
    ui.add_space(4.0);
    ui.label(RichText::new("Notes").strong().size(17.0));
    for sentence in sentences {
        ui.label(visible::line(&sentence));
    }
}
