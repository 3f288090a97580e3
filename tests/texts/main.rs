//! The documents say what the code does: tables in them are made from the code and compared here.
//! `LINTEL_WRITE=1 cargo test --release --no-default-features --test texts` writes them anew.

mod arrows;
mod licences;
mod own_code;
mod presets;
mod unsafe_code;
mod words;

use lintel::params::{self, Kind, Law};

/// Replaces what stands between the two marks of `name` in `file` by `body`, or checks it.
#[track_caller]
fn keep(file: &str, name: &str, body: &str) {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(file);
    let text = std::fs::read_to_string(&path).expect("the document is there");
    let (begin, end) = (format!("<!-- {name}: made by tests/texts -->\n"), format!("<!-- end of {name} -->"));
    let start = text.find(&begin).expect("begin mark") + begin.len();
    let stop = start + text[start..].find(&end).expect("end mark");
    if std::env::var_os("LINTEL_WRITE").is_some() {
        let new = format!("{}{body}{}", &text[..start], &text[stop..]);
        std::fs::write(&path, new).expect("writable");
        return;
    }
    assert_eq!(&text[start..stop], body, "{file} is out of date: run with LINTEL_WRITE=1");
}

#[test]
fn the_parameter_table_is_current() {
    let mut out = String::from("| id | what it does | range | default |\n| --- | --- | --- | --- |\n");
    for param in params::all() {
        // The five bands are alike: one stands for the inner three.
        if param.id.starts_with("eq3") || param.id.starts_with("eq4") {
            continue;
        }
        let (min, max) = param.range();
        let range = match param.kind {
            Kind::Number { .. } => {
                let skew = match param.law() {
                    Law::Even => String::new(),
                    Law::Log => ", by ratio".to_owned(),
                    Law::Centre(centre) => format!(", centre {}", param.text(centre)),
                };
                format!("{} to {}{skew}", param.text(min), param.text(max))
            }
            Kind::Choice(words) => words.join(" · "),
            Kind::Switch => "off · on".to_owned(),
        };
        let id = param.id.replace("eq2", "eq2…4");
        out += &format!("| `{id}` | {} | {range} | {} |\n", param.help, param.text(param.default()));
    }
    keep("docs/parameters.md", "parameters", &out);
}
