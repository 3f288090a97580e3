//! Every dependency carries a licence that deny.toml allows: what `cargo deny check licenses` looks at, too,
//! read here from cargo's own list so that no further program is needed.

use std::path::Path;
use std::process::Command;

/// One part of an expression: "MIT OR Apache-2.0", in whatever spelling crates use.
fn any_allowed(part: &str, allowed: &[&str]) -> bool {
    let part = part.trim().trim_matches(['(', ')']).replace('/', " OR ");
    part.split(" OR ").any(|licence| allowed.contains(&licence.trim()))
}

/// An expression of alternatives joined by AND; no crate mixes them the other way round.
fn is_allowed(expression: &str, allowed: &[&str]) -> bool {
    expression.split(" AND ").all(|part| any_allowed(part, allowed))
}

fn strings(value: &toml::Value) -> Vec<&str> {
    value.as_array().expect("a list").iter().map(|text| text.as_str().expect("a text")).collect()
}

#[test]
fn every_dependency_carries_an_allowed_licence() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let rules: toml::Table = std::fs::read_to_string(root.join("deny.toml")).unwrap().parse().unwrap();
    let licenses = &rules["licenses"];
    let allowed = strings(&licenses["allow"]);
    let exceptions = licenses["exceptions"].as_array().expect("a list");
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(cargo)
        .current_dir(root)
        .args(["metadata", "--format-version", "1", "--locked"])
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let list: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let packages = list["packages"].as_array().expect("a list");
    assert!(packages.len() > 100);
    for package in packages {
        let (name, licence) = (package["name"].as_str().unwrap(), package["license"].as_str().unwrap_or(""));
        let more = exceptions.iter().filter(|rule| rule["crate"].as_str() == Some(name));
        let allowed: Vec<&str> =
            allowed.iter().copied().chain(more.flat_map(|rule| strings(&rule["allow"]))).collect();
        assert!(is_allowed(licence, &allowed), "{name}: \"{licence}\" is not in deny.toml");
    }
}

#[test]
fn expressions_are_read() {
    let allowed = ["MIT", "Zlib"];
    for yes in ["MIT", "GPL-3.0 OR MIT", "Apache-2.0/MIT", "(MIT OR Apache-2.0) AND Zlib"] {
        assert!(is_allowed(yes, &allowed), "{yes}");
    }
    for no in ["", "GPL-3.0", "MIT AND GPL-3.0", "(MIT OR Zlib) AND OFL-1.1"] {
        assert!(!is_allowed(no, &allowed), "{no}");
    }
}
