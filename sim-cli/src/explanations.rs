//! What each problem code means, at length.
//!
//! The codes are those of the library; a test sees to it that each has an explanation. They never change their meaning.

/// An explanation.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Explanation {
    /// The code.
    pub(crate) code: &'static str,
    /// In a few words.
    pub(crate) meaning: &'static str,
    /// At length: why it matters, and what to do.
    pub(crate) more: &'static str,
    /// A piece of a file that is reported; may be empty.
    pub(crate) wrong: &'static str,
    /// The same as it should be; may be empty.
    pub(crate) right: &'static str,
}

const fn of(
    code: &'static str,
    meaning: &'static str,
    more: &'static str,
    wrong: &'static str,
    right: &'static str,
) -> Explanation {
    Explanation { code, meaning, more, wrong, right }
}

/// All of them.
pub(crate) const ALL: &[Explanation] = &[
    of(
        "syntax",
        "the text is not JSON",
        "A scenario is JSON: objects in { }, lists in [ ], keys and text in double quotes, commas between entries and \
         none after the last one. Nothing else of the file can be checked until this is right. JSON has no comments; \
         a \"note\" is allowed in every object and says what you would put into one.",
        "{ \"id\": \"lift\", // the old one\n  \"speed\": \"9 m/min\", }",
        "{ \"id\": \"lift\", \"note\": \"the old one\",\n  \"speed\": \"9 m/min\" }",
    ),
    of(
        "file-too-large",
        "the file, its nesting or its number of values is over a limit",
        "A scenario describes one line, by hand or by a program, and stays far below these limits. If a list of observed \
         values is what makes it long, fit a law to it or thin it out.",
        "",
        "",
    ),
    of(
        "duplicate-key",
        "the same key stands twice in one object",
        "Programs differ in which of the two they believe, so neither is. Take one out.",
        "{ \"cycle\": \"0.6 s\", \"cycle\": \"0.7 s\" }",
        "{ \"cycle\": \"0.7 s\" }",
    ),
    of(
        "unknown-key",
        "a key that this object does not have",
        "A misspelt key would otherwise leave a default in force without a word. The message names the nearest key; \
         `feedproof schema` lists all keys of every station.",
        "{ \"type\": \"track\", \"capasity\": 30 }",
        "{ \"type\": \"track\", \"capacity\": 30 }",
    ),
    of(
        "missing-key",
        "something that this object cannot do without is not there",
        "Most keys have a default, which the schema states. These have none, because no default would be honest: a cycle \
         time, for example, is the heart of a machine.",
        "{ \"id\": \"press\", \"type\": \"machine\" }",
        "{ \"id\": \"press\", \"type\": \"machine\", \"cycle\": \"1.1 s\" }",
    ),
    of(
        "wrong-type",
        "a value of another sort than expected",
        "Quantities are text with a unit, counts are bare numbers, switches are true or false, several things stand in a \
         list.",
        "\"capacity\": \"30\"",
        "\"capacity\": 30",
    ),
    of(
        "unknown-word",
        "a word that is not one of those to choose from",
        "The message lists the words, or names the nearest one.",
        "\"spread\": \"longest-wait\"",
        "\"spread\": \"longest idle\"",
    ),
    of(
        "unknown-name",
        "a name that nothing in the file has",
        "Stations, attendants and sensors are named by their `id`; attitudes, conditions and part kinds by their key under \
         `parts`. Capital letters count. `out` leaves the line.",
        "{ \"id\": \"track\" }, { \"id\": \"press\", \"to\": \"trakc\" }",
        "{ \"id\": \"track\" }, { \"id\": \"press\", \"to\": \"track\" }",
    ),
    of(
        "duplicate-name",
        "two things have the same name",
        "Stations, attendants and sensors share one set of names, so that a name in a report means one thing. For equal \
         stations side by side, write one with \"count\": 2.",
        "{ \"id\": \"path\" }, { \"id\": \"path\" }",
        "{ \"id\": \"path\", \"count\": 2 }",
    ),
    of(
        "not-fed",
        "a station that nothing feeds",
        "It would wait for ever. A station gives to the next one of the file unless its `to` names another; look at what \
         stands before this one. A station at the head of a line has to bring parts itself: a dumper, a stream, a bin with \
         content, or a work station with \"endless\": true.",
        "{ \"id\": \"feeder\", \"to\": \"press\" }, { \"id\": \"track\" }, { \"id\": \"press\" }",
        "{ \"id\": \"feeder\", \"to\": \"track\" }, { \"id\": \"track\" }, { \"id\": \"press\" }",
    ),
    of(
        "no-way-out",
        "a loop that parts, or a class of parts, can never leave",
        "A part in the wrong attitude or condition that every pass sends back goes round for ever: such parts fill the \
         recirculation belt, and the line stands still after hours that look fine. Give them an exit: a tool that turns \
         them, a tool that sends them to scrap, or a way back to the bin, where they are mixed anew.",
        "",
        "",
    ),
    of(
        "hardly-a-way-out",
        "parts that leave a loop only after very many passes",
        "They can leave, but so rarely that they gather in the loop and take up a large share of its flow. A warning: the \
         line runs, and its balance says how much of it goes round in vain.",
        "",
        "",
    ),
    of(
        "cannot-reach",
        "the point of use cannot make the promised rate, or only without any lack of parts",
        "Its own cycle time sets an upper limit. Where the promise lies above it, no feeding helps; where it lies just \
         below, any gap in the flow breaks the promise. A warning, so that the rest of the line can be looked at.",
        "\"cycle\": \"0.72 s\", and \"rate\": \"85 /min\"",
        "\"cycle\": \"0.62 s\", and \"rate\": \"85 /min\"",
    ),
    of(
        "bad-connection",
        "stations, or keys, that do not go together in this way",
        "For example parts given to a station that takes nothing, or an inlet that names a station which does not give to \
         it. The message says what to name instead.",
        "",
        "",
    ),
    of(
        "empty",
        "text that has to say something is empty",
        "Write what is expected, or take the key out.",
        "\"id\": \"\"",
        "\"id\": \"lift\"",
    ),
    of(
        "too-few",
        "a list or a map with fewer entries than needed",
        "For example a list of stations without one, or of observed values with too few to draw from.",
        "\"stations\": []",
        "",
    ),
    of(
        "out-of-range",
        "a number outside of what is possible",
        "Lengths, times and rates are not negative, capacities are 1 or more, chances lie from 0 to 1. The message says \
         what the range is. Numbers beyond all machines, such as 1e308, are taken for slips of the keyboard.",
        "\"capacity\": 0",
        "\"capacity\": 30",
    ),
    of(
        "unusual-value",
        "a possible value outside of what is usual in the trade",
        "A warning: the file can be used. The usual ranges are common practice without a published source. If the value is \
         right, leave it; a slip of a decimal point is what this is for.",
        "",
        "",
    ),
    of(
        "unit-missing",
        "a bare number where a unit is needed",
        "Inch and metric are both at home here, so 30 alone could be anything. Quantities are text: a number, then a unit.",
        "\"speed\": 30",
        "\"speed\": \"30 ft/min\"",
    ),
    of(
        "unit-unknown",
        "a unit that is not known",
        "The message lists units that are. `ppm` means parts per minute.",
        "\"speed\": \"30 fpm\"",
        "\"speed\": \"30 ft/min\"",
    ),
    of(
        "unit-wrong-kind",
        "a unit of another kind than expected",
        "A speed is a length per time, a rate is pieces per time, and so on: the unit says what the number measures, and \
         it measures something else than what is wanted here.",
        "\"speed\": \"30 ft\"",
        "\"speed\": \"30 ft/min\"",
    ),
    of(
        "number-unreadable",
        "text that has to begin with a number and does not",
        "Numbers have a point, not a comma: 1.25. Fractions such as 3/8 are fine. Infinite values and NaN are not numbers \
         of any line.",
        "\"length\": \"1,25 in\"",
        "\"length\": \"1.25 in\"",
    ),
    of(
        "data-unreadable",
        "a file of observed values that cannot be read or used",
        "The file is looked for by its path from the scenario file. Its first line has titles with the unit in brackets, \
         each further line one value in each column.",
        "{ \"law\": \"observed\", \"file\": \"clearin.csv\" }",
        "{ \"law\": \"observed\", \"file\": \"clearing.csv\" }",
    ),
    of(
        "bad-name",
        "a name with characters that names may not have, or too long, or one that means something already",
        "Names stand in reports, tables and files; `out` means leaving the line.",
        "\"id\": \"out\"",
        "\"id\": \"press\"",
    ),
    of(
        "shares-sum",
        "shares that do not add up to one",
        "What happens to a part has to be one of the things listed, so their shares make 100 %. Counts of a test need not \
         add up to anything: write them as whole numbers, such as 212, 168 and 120 of 500, and their uncertainty is known.",
        "\"attitudes\": { \"face up\": 0.5, \"face down\": 0.4 }",
        "\"attitudes\": { \"face up\": 0.6, \"face down\": 0.4 }",
    ),
    of(
        "law-impossible",
        "a random amount whose parameters contradict each other",
        "For example a lowest value above the highest one, or a likely value outside of the two.",
        "{ \"low\": \"3 s\", \"likely\": \"2 s\", \"high\": \"9 s\" }",
        "{ \"low\": \"1 s\", \"likely\": \"2 s\", \"high\": \"9 s\" }",
    ),
];

#[cfg(test)]
mod tests {
    use super::*;

    /// The codes are constants of the library, which cannot be listed; its source can.
    const SOURCE: &str = include_str!("../../sim-core/src/diag.rs");

    #[test]
    fn every_code_has_an_explanation_and_every_explanation_a_code() {
        let value = |line: &'static str| {
            let (_, rest) = line.trim().strip_prefix("pub const ")?.split_once(": &str = \"")?;
            rest.strip_suffix("\";")
        };
        let mut codes: Vec<&str> = SOURCE.lines().filter_map(value).collect();
        assert!(codes.len() > 20, "the codes were found: {codes:?}");
        let mut explained: Vec<&str> = ALL.iter().map(|e| e.code).collect();
        codes.sort_unstable();
        explained.sort_unstable();
        assert_eq!(explained, codes);
    }
}
