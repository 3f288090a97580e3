//! Who may import whom. Reads the paths in every file of `src/` with a Rust parser, test modules
//! left out, follows re-exports to the file that defines a name, and fails if a part imports one
//! that stands above it or if files import each other in a circle.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use syn::visit::Visit;

/// The parts of the library from the bottom up. A part may import parts of lower rows only, so
/// those of one row do not know each other.
pub const LAYERS: &[&[&str]] = &[
    &["dsp", "numbers", "palette", "settings", "sync"],
    &["grade", "params", "stage", "tap_ring"],
    &["chain", "host_params", "meter", "presets"],
    &["finish", "live"],
    &["reference"],
    &["player"],
    &["editor"],
    &["plugin"],
    &["bin"],
];

/// A module's path below the crate, `["meter", "gate"]`; the crate's own file is empty.
type ModulePath = Vec<String>;

/// What one file imports and hands on.
#[derive(Default)]
struct Module {
    file: PathBuf,
    /// Absolute paths that the file names, without re-exports.
    uses: Vec<ModulePath>,
    /// Name handed on → absolute path; `*` for whole modules.
    re_exports: Vec<(String, ModulePath)>,
}

/// All modules of `src/` by their path.
struct Crate(BTreeMap<ModulePath, Module>);

/// Collects the paths of one file.
struct Paths<'a> {
    at: &'a ModulePath,
    uses: Vec<ModulePath>,
    re_exports: Vec<(String, ModulePath)>,
}

impl Paths<'_> {
    /// A path as written in this file, from the crate's root; none for other crates.
    fn absolute(&self, path: &[String]) -> Option<ModulePath> {
        let up = path.iter().take_while(|part| *part == "super").count();
        let inside = self.at.first().is_some_and(|top| top == "bin");
        match path.first()?.as_str() {
            "lintel" if inside => Some(path[1..].to_vec()),
            "crate" if inside => Some([&self.at[..2], &path[1..]].concat()),
            "crate" => Some(path[1..].to_vec()),
            "self" => Some([self.at, &path[1..]].concat()),
            "super" => Some([&self.at[..self.at.len().checked_sub(up)?], &path[up..]].concat()),
            _ => None,
        }
    }

    fn use_tree(&mut self, tree: &syn::UseTree, before: &mut Vec<String>, hands_on: bool) {
        let depth = before.len();
        let leaf = |this: &mut Self, name: String, shown: String, before: &mut Vec<String>| {
            if name != "self" && name != "*" {
                before.push(name);
            }
            // `use x::Y` of a child or sibling that is named without a prefix.
            let path = this.absolute(before).unwrap_or_else(|| [this.at.as_slice(), before].concat());
            if hands_on { this.re_exports.push((shown, path)) } else { this.uses.push(path) }
        };
        match tree {
            syn::UseTree::Path(path) => {
                before.push(path.ident.to_string());
                self.use_tree(&path.tree, before, hands_on);
            }
            syn::UseTree::Name(name) => leaf(self, name.ident.to_string(), name.ident.to_string(), before),
            syn::UseTree::Rename(name) => leaf(self, name.ident.to_string(), name.rename.to_string(), before),
            syn::UseTree::Glob(_) => leaf(self, "*".to_owned(), "*".to_owned(), before),
            syn::UseTree::Group(group) => {
                group.items.iter().for_each(|tree| self.use_tree(tree, before, hands_on));
            }
        }
        before.truncate(depth);
    }
}

fn is_test(attributes: &[syn::Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("cfg")
            && attribute.parse_args::<syn::Path>().is_ok_and(|path| path.is_ident("test"))
    })
}

impl<'ast> Visit<'ast> for Paths<'_> {
    fn visit_item_mod(&mut self, module: &'ast syn::ItemMod) {
        if !is_test(&module.attrs) {
            syn::visit::visit_item_mod(self, module);
        }
    }

    fn visit_item_use(&mut self, item: &'ast syn::ItemUse) {
        let hands_on = !matches!(item.vis, syn::Visibility::Inherited);
        self.use_tree(&item.tree, &mut Vec::new(), hands_on);
    }

    /// `pub(super)` imports nothing.
    fn visit_visibility(&mut self, _: &'ast syn::Visibility) {}

    fn visit_path(&mut self, path: &'ast syn::Path) {
        let names: Vec<String> = path.segments.iter().map(|part| part.ident.to_string()).collect();
        match self.absolute(&names) {
            Some(path) => self.uses.push(path),
            // `sibling::name` where `mod sibling` is declared here.
            None if names.len() > 1 => self.uses.push([self.at.as_slice(), &names].concat()),
            None => {}
        }
        syn::visit::visit_path(self, path);
    }
}

/// The module that a file below `src/` is.
fn module_path(file: &Path) -> ModulePath {
    let mut path: ModulePath =
        file.with_extension("").iter().map(|part| part.to_string_lossy().into_owned()).collect();
    let last = path.last().map(String::as_str);
    if matches!(last, Some("mod" | "lib")) || (path[0] == "bin" && last == Some("main")) {
        path.pop();
    }
    path
}

impl Crate {
    fn read(src: &Path) -> Self {
        let mut modules = BTreeMap::new();
        let mut folders = vec![src.to_owned()];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).expect("a folder of sources") {
                let path = entry.expect("an entry").path();
                if path.is_dir() {
                    folders.push(path);
                } else if path.extension().is_some_and(|end| end == "rs") && !path.ends_with("tests.rs") {
                    let text = std::fs::read_to_string(&path).expect("readable");
                    let file = path.strip_prefix(src).expect("below src").to_owned();
                    let at = module_path(&file);
                    modules.insert(at.clone(), Self::module(file, &at, &text));
                }
            }
        }
        Self(modules)
    }

    fn module(file: PathBuf, at: &ModulePath, text: &str) -> Module {
        let mut paths = Paths { at, uses: Vec::new(), re_exports: Vec::new() };
        paths.visit_file(&syn::parse_file(text).expect("Rust"));
        Module { file, uses: paths.uses, re_exports: paths.re_exports }
    }

    /// The module that defines what `path` names, re-exports followed.
    fn definer(&self, path: &[String]) -> Option<&ModulePath> {
        let mut path = path.to_vec();
        for _ in 0..8 {
            let depth = (0..=path.len()).rev().find(|depth| self.0.contains_key(&path[..*depth]))?;
            let (at, module) = self.0.get_key_value(&path[..depth])?;
            let Some(name) = path.get(depth) else { return Some(at) };
            match module.re_exports.iter().find(|(shown, _)| shown == name) {
                Some((_, to)) if *to != path => path = [to, &path[depth + 1..]].concat(),
                _ => return Some(at),
            }
        }
        None
    }

    /// Every import between files, as (importing, imported).
    fn arrows(&self) -> BTreeSet<(&ModulePath, &ModulePath)> {
        let all = self.0.iter().flat_map(|(at, module)| {
            module.uses.iter().filter_map(move |path| Some((at, self.definer(path)?)))
        });
        all.filter(|(from, to)| from != to && !from.is_empty() && !to.is_empty()).collect()
    }

    fn file(&self, at: &ModulePath) -> String {
        self.0[at].file.display().to_string()
    }

    /// Files that import each other, directly or through others: each circle once.
    fn circles(&self) -> Vec<String> {
        let arrows = self.arrows();
        let reach = |start: &ModulePath| {
            let (mut seen, mut open) = (BTreeSet::new(), vec![start.clone()]);
            while let Some(at) = open.pop() {
                for (_, to) in arrows.iter().filter(|(from, _)| **from == at) {
                    if seen.insert((*to).clone()) {
                        open.push((*to).clone());
                    }
                }
            }
            seen
        };
        let reached: BTreeMap<&ModulePath, _> = self.0.keys().map(|at| (at, reach(at))).collect();
        let mut circles = BTreeSet::new();
        for at in self.0.keys().filter(|at| reached[at].contains(*at)) {
            let members = reached[at].iter().filter(|to| reached[*to].contains(at));
            circles.insert(members.map(|to| self.file(to)).collect::<Vec<_>>().join(", "));
        }
        circles.into_iter().collect()
    }
}

fn layer(part: &str) -> Option<usize> {
    LAYERS.iter().position(|layer| layer.contains(&part))
}

fn library() -> Crate {
    Crate::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"))
}

#[test]
fn no_part_imports_one_that_stands_above_it() {
    let library = library();
    let mut wrong = Vec::new();
    for (from, to) in library.arrows() {
        let rank = |at: &ModulePath| {
            layer(&at[0]).unwrap_or_else(|| panic!("{} has no row in LAYERS", library.file(at)))
        };
        if from[0] != to[0] && rank(from) <= rank(to) {
            wrong.push(format!("{} imports {}", library.file(from), library.file(to)));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_files_import_each_other_in_a_circle() {
    let circles = library().circles();
    assert!(circles.is_empty(), "{}", circles.join("\n"));
}

/// The reader itself: a circle through a re-export is found, a test module's import is not one.
#[test]
fn circles_and_arrows_are_found_in_a_made_up_crate() {
    let file = |file: &str, text: &str| {
        let at = module_path(Path::new(file));
        (at.clone(), Crate::module(file.into(), &at, text))
    };
    let made = Crate(BTreeMap::from([
        file("a/mod.rs", "mod one; mod two; pub use one::One;"),
        file("a/one.rs", "use super::two::Two; pub struct One;"),
        file("a/two.rs", "pub struct Two(crate::a::One); #[cfg(test)] mod tests { use crate::b::B; }"),
        file("b.rs", "use crate::a::One; pub struct B;"),
    ]));
    assert_eq!(made.circles(), ["a/one.rs, a/two.rs"]);
    let arrows: Vec<_> = made.arrows().iter().map(|(a, b)| (a.join("/"), b.join("/"))).collect();
    let pair = |a: &str, b: &str| (a.to_owned(), b.to_owned());
    assert_eq!(arrows, [pair("a/one", "a/two"), pair("a/two", "a/one"), pair("b", "a/one")]);
}

/// DEVELOPERS.md draws the rows that are enforced here.
#[test]
fn the_drawing_of_the_layers_is_current() {
    let mut out = String::from("```text\n");
    for row in LAYERS.iter().rev() {
        out += &format!("{}\n", row.join("   "));
    }
    out += "```\n";
    super::keep("DEVELOPERS.md", "layers", &out);
}
