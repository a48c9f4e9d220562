//! Small pictures in blocks of text, for terminals that can show them.
//!
//! They repeat what stands beside them in numbers. Invariant: each takes exactly the columns that it says.

/// Columns of heights 0 to 8.
const HEIGHTS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// Counts as columns side by side; a count that is not 0 is seen.
pub(super) fn columns(counts: &[u64]) -> String {
    let most = counts.iter().copied().max().unwrap_or(0).max(1);
    let height = |count: &u64| (count * 8).div_ceil(most) as usize;
    counts.iter().map(|count| HEIGHTS[height(count)]).collect()
}

/// A level between empty and full in `n` columns: shaded from `low` to `high`, solid at `middle`.
pub(super) fn level(low: u32, middle: u32, high: u32, full: u32, n: usize) -> String {
    let at = |level: u32| (u64::from(level) * n as u64 / u64::from(full.max(1))).min(n as u64 - 1) as usize;
    let mark = |column: usize| match column {
        _ if column == at(middle) => '█',
        _ if (at(low)..=at(high)).contains(&column) => '▒',
        _ => '·',
    };
    (0..n).map(mark).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_show_what_they_are_given() {
        assert_eq!(columns(&[0, 1, 4, 8, 100]), " ▁▁▁█");
        assert_eq!(columns(&[0, 0]), "  ");
        assert_eq!(level(20, 50, 79, 100, 10), "··▒▒▒█▒▒··");
        assert_eq!(level(0, 100, 100, 100, 5), "▒▒▒▒█");
        assert_eq!(level(0, 0, 0, 0, 3), "█··");
    }
}
