//! Options of every command that simulates: whose luck, and on how many threads.

use crate::progress;
use sim_core::study::Hands;

/// Seed and threads.
#[derive(Debug, Clone, Copy, clap::Args)]
pub(crate) struct Luck {
    /// Seed of all luck; left out: that of the file
    #[arg(long, value_name = "S")]
    seed: Option<u64>,
    /// Threads; left out: one for each core. The result is the same on any number
    #[arg(long, value_name = "T", value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
}

impl Luck {
    /// The seed, given that of the file.
    pub(crate) fn seed(&self, of_file: u64) -> u64 {
        self.seed.unwrap_or(of_file)
    }

    /// The workers.
    pub(crate) fn crew(&self) -> Hands {
        progress::crew(self.threads)
    }
}
