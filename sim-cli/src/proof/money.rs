//! The pay-back, if the file has prices: apart from the proof, and no part of its verdict.

use super::Proof;
use crate::document::word;
use crate::document::{Block, Grid, words};
use crate::report::money::{amounts, meaning, words as sentence};
use sim_core::money::Account;

/// All of it; nothing without prices.
pub(super) fn money(proof: &Proof<'_>) -> Vec<Block> {
    let Some(found) = &proof.result.pay_back else { return Vec::new() };
    let prices = &found.prices;
    let mut facts: Vec<(String, String)> = [
        ("Cost of the line, once", prices.cost),
        ("Labour that it replaces, for each hour", prices.labour_per_hour),
        ("Value of a minute in which the point of use waits for parts", prices.lost_minute),
        ("Running the line, for each hour", prices.running_per_hour),
        ("Shifts in a year", prices.shifts_per_year),
        ("Labour replaced in a year", found.labour),
        ("Running the line in a year", found.running),
    ]
    .into_iter()
    .map(|(name, value)| (name.to_owned(), value.to_string()))
    .collect();
    facts.push(("Paid back".to_owned(), sentence(found)));
    let mut blocks = vec![
        Block::Text(meaning(found)),
        Block::Facts(facts),
        Block::Table(grid("With inputs as known", &found.as_known)),
    ];
    if let Some(with) = &found.with_ignorance {
        blocks.push(Block::Table(grid("With what is not known of the inputs", &with.account)));
    }
    blocks
}

fn grid(title: &str, account: &Account) -> Grid {
    let mut grid = Grid::new(title, vec![words(""), words("Amount"), words("From"), words("To")]);
    for row in amounts(account) {
        let name = row[0].trim_start_matches("- ").to_owned();
        let mut cells = vec![word(&name)];
        cells.extend(row[1..].iter().map(word));
        grid.row(cells);
    }
    grid
}
