//! The table of published and worked-out values, as data: `data/published-values.csv`.
//!
//! Each row names its model, its parameters, the quantity, the exact value and where model and value come
//! from; "own case" in the source means that the model was chosen, and its value worked out, for this table,
//! "from memory" that the printed digits were recalled and not read again. Nothing here is computed.

/// One row.
#[derive(Debug, Clone)]
pub struct Value {
    /// Its name, such as `L-07`.
    pub id: String,
    /// Its place in the table.
    pub number: u64,
    /// Parameters.
    pub parameters: String,
    /// What the value is.
    pub quantity: String,
    /// The value.
    pub exact: f64,
    /// Where model and value come from.
    pub source: String,
}

/// All rows of the table.
///
/// # Panics
/// If the table is damaged: it is part of the program.
pub fn values() -> Vec<Value> {
    let text = include_str!("../../data/published-values.csv");
    text.lines().skip(1).filter(|line| !line.is_empty()).zip(0..).map(value).collect()
}

/// The row with this name.
///
/// # Panics
/// If there is none.
pub fn value_of(id: &str) -> Value {
    let found = values().into_iter().find(|value| value.id == id);
    found.unwrap_or_else(|| panic!("the table has a row {id}"))
}

fn value((line, number): (&str, u64)) -> Value {
    let fields = fields(line);
    let [id, _model, parameters, quantity, exact, _kind, source, _how] = &fields[..] else {
        panic!("a row of the table has eight fields: {line}")
    };
    let exact = exact.parse().unwrap_or_else(|_| panic!("the value of {id} is a number"));
    Value {
        id: id.clone(),
        number,
        parameters: parameters.clone(),
        quantity: quantity.clone(),
        exact,
        source: source.clone(),
    }
}

/// Fields of a line; a field with commas stands in quotes.
fn fields(line: &str) -> Vec<String> {
    let mut fields = vec![String::new()];
    let mut is_quoted = false;
    for character in line.chars() {
        match (character, fields.last_mut()) {
            ('"', _) => is_quoted = !is_quoted,
            (',', _) if !is_quoted => fields.push(String::new()),
            (other, Some(field)) => field.push(other),
            (_, None) => {}
        }
    }
    fields
}
