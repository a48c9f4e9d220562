//! The symbols of stations: small pictures in strokes, on a field of 24 by 24.
//!
//! A language of our own: each shows what happens to the parts (a dot is a part), not what the equipment looks like.
//! Invariant: every word of the catalogue has one.

/// Strokes (`M`, `L`, `A` ... of an SVG path), and parts as dots (x, y).
#[derive(Debug, Clone, Copy)]
pub(super) struct Symbol {
    pub(super) strokes: &'static str,
    pub(super) dots: &'static [(f64, f64)],
}

const fn symbol(strokes: &'static str, dots: &'static [(f64, f64)]) -> Symbol {
    Symbol { strokes, dots }
}

/// The symbol for a word of the catalogue.
pub(super) fn symbol_of(word: &str) -> Symbol {
    match word {
        "work" => symbol("M4 4H20V20H4Z M8 12H16", &[]),
        "stream" => symbol("M2 18H20 M16 14L20 18L16 22", &[(4.0, 9.0), (10.0, 9.0), (16.0, 9.0)]),
        "dumper" => symbol("M3 12L12 3L19 10L10 19Z", &[(18.0, 16.0), (20.5, 20.0), (15.5, 20.5)]),
        "filling by hand" => {
            symbol("M3 6H10L13 10H3Z M6 22H20L21 15", &[(14.5, 13.0), (12.0, 17.0), (16.0, 18.0)])
        }
        "bin" => symbol("M3 3H21V12L15 20H9L3 12Z", &[(8.0, 11.0), (12.0, 15.0), (15.5, 10.0)]),
        "hopper" => symbol("M3 3H21L14 15V21H10V15Z", &[(9.0, 8.0), (14.0, 8.5)]),
        "elevator" => {
            symbol("M3 21L21 6 M7 17.5L5 13.5 M12 13.5L10 9.5 M17 9.5L15 5.5", &[(8.5, 13.0), (13.5, 9.0)])
        }
        "meter conveyor" => symbol("M3 16H21 M6 16V10 M12 16V10 M18 16V10", &[(9.0, 13.0), (15.0, 13.0)]),
        "metering tray" => {
            symbol("M3 12L20 16 M5 20L8 18L11 21L14 19L17 22", &[(7.0, 10.0), (12.0, 11.0), (17.0, 12.5)])
        }
        "step feeder" => symbol("M3 21V17H8V13H13V9H18V5H21", &[(5.5, 14.0), (10.5, 10.0), (15.5, 6.0)]),
        "bath" => symbol("M3 6V20H21V6 M3 10Q6 7 9 10T15 10T21 10", &[(8.0, 15.0), (15.0, 16.0)]),
        "tunnel" => symbol("M3 18V12A9 8 0 0 1 21 12V18 M1 18H23", &[(8.0, 15.5), (15.5, 15.5)]),
        "track" => symbol("M2 8H22 M2 16H22", &[(9.0, 12.0), (14.0, 12.0), (19.0, 12.0)]),
        "belt" => symbol("M6 12H18A3 3 0 0 1 18 18H6A3 3 0 0 1 6 12", &[(8.0, 8.5), (16.0, 8.5)]),
        "recirculation belt" => {
            symbol("M18 19H8A6 6 0 0 1 8 7H20 M16 3L20 7L16 11", &[(12.0, 19.0), (17.0, 19.0)])
        }
        "orienting path" => symbol("M2 17H22 M3 13L6 5 M9 13L10 5 M15 13V5 M20 13V5", &[]),
        "screen" => symbol("M2 12H6 M9 12H13 M16 12H20 M8 19L8 22 M15 18V22", &[(6.0, 7.0), (15.0, 6.0)]),
        "selector" => symbol("M5 15A7.5 7.5 0 1 1 19 15 M15.5 12.5L19 15.5L22 12", &[(12.0, 15.0)]),
        "gauge" => symbol(
            "M4 3V21 M20 3V21 M4 12H8 M20 12H16 M7 9.5L4 12L7 14.5 M17 9.5L20 12L17 14.5",
            &[(12.0, 12.0)],
        ),
        "scrap box" => symbol("M3 7V20H21V7 M8 9L16 17 M16 9L8 17", &[]),
        "box out" => symbol(
            "M3 9V20H21V9 M12 3V13 M8.5 9.5L12 13L15.5 9.5",
            &[(7.0, 17.0), (12.0, 17.0), (17.0, 17.0)],
        ),
        "escapement" => symbol("M2 17H22 M9 3V13 M17 21V17 M17 3V8", &[(5.0, 13.0), (13.0, 13.0)]),
        "divider" => symbol("M2 12H9L20 5 M9 12L20 19 M16.5 4.5L20 5L18.5 8 M16.5 19.5L20 19L18.5 16", &[]),
        "air tube" => symbol("M2 7H22 M2 17H22 M3 10H7 M3 14H7 M9 12H12", &[(17.0, 12.0)]),
        "row pusher" => symbol("M2 4V20 M2 12H7 M7 5V19", &[(11.5, 7.0), (11.5, 12.0), (11.5, 17.0)]),
        "indexing table" => {
            symbol("M12 2A10 10 0 1 1 11.9 2Z", &[(12.0, 6.0), (18.0, 12.0), (12.0, 18.0), (6.0, 12.0)])
        }
        "robot" => symbol("M4 21H12 M8 21V14L14 6L20 10 M18 13L20 10L23 12", &[(20.0, 16.0)]),
        "magazine" => symbol("M6 2V22H18V2 M6 9H18 M6 15.5H18", &[(12.0, 6.0), (12.0, 12.3), (12.0, 18.8)]),
        "receiver" => symbol("M4 9V15A8 6 0 0 0 20 15V9", &[(12.0, 14.0)]),
        "machine" => symbol("M4 20H20 M12 2V9 M7 9H17V13H7Z", &[(12.0, 17.0)]),
        _ => symbol("M4 4H20V20H4Z", &[]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sim_core::stations::catalogue::CATALOGUE;

    #[test]
    fn every_station_has_a_symbol_of_its_own() {
        let mut seen: Vec<&str> = vec![symbol_of("no such station").strokes];
        for variant in CATALOGUE {
            let strokes = symbol_of(variant.word).strokes;
            assert!(!seen.contains(&strokes), "{} has no symbol of its own", variant.word);
            seen.push(strokes);
        }
    }
}
