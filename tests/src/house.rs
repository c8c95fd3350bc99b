//! The workspace as its manifests, its files and the map in DEVELOPERS.md state it.

use crate::workspace;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// A member of the workspace.
#[derive(Debug, Clone)]
pub struct Member {
    /// Package name.
    pub name: String,
    /// Folder, relative to the top, with forward slashes.
    pub folder: String,
    /// Everything under `[dependencies]`, ours and others'.
    pub dependencies: BTreeSet<String>,
    /// Whether the workspace's lints hold.
    pub inherits_lints: bool,
}

/// A row of the map in DEVELOPERS.md.
#[derive(Debug, Clone)]
pub struct MapRow {
    /// Folder as stated.
    pub folder: String,
    /// What it consumes, produces and must never know.
    pub invariants: [String; 3],
    /// Members that it may depend on.
    pub may_depend_on: BTreeSet<String>,
}

/// Every member that the workspace's manifest lists.
///
/// # Errors
/// A manifest that cannot be read or is not what Cargo expects, with its path.
pub fn members() -> Result<Vec<Member>, String> {
    let root = read_toml(&workspace().join("Cargo.toml"))?;
    let patterns = root
        .get("workspace")
        .and_then(|w| w.get("members"))
        .and_then(toml::Value::as_array)
        .ok_or("Cargo.toml: no workspace.members")?;
    let mut folders = Vec::new();
    for pattern in patterns.iter().filter_map(toml::Value::as_str) {
        match pattern.strip_suffix("/*") {
            Some(parent) => folders.extend(subfolders(parent)?),
            None => folders.push(pattern.to_owned()),
        }
    }
    folders.iter().map(|folder| member(folder)).collect()
}

fn subfolders(parent: &str) -> Result<Vec<String>, String> {
    let entries = workspace()
        .join(parent)
        .read_dir()
        .map_err(|e| format!("{parent}: {e}"))?;
    let mut names: Vec<String> = entries
        .filter_map(Result::ok)
        .filter(|e| e.path().join("Cargo.toml").is_file())
        .map(|e| format!("{parent}/{}", e.file_name().to_string_lossy()))
        .collect();
    names.sort();
    Ok(names)
}

fn member(folder: &str) -> Result<Member, String> {
    let manifest = read_toml(&workspace().join(folder).join("Cargo.toml"))?;
    let name = manifest
        .get("package")
        .and_then(|p| p.get("name"))
        .and_then(toml::Value::as_str)
        .ok_or_else(|| format!("{folder}: no package.name"))?;
    let dependencies = manifest
        .get("dependencies")
        .and_then(toml::Value::as_table)
        .map(|t| t.keys().cloned().collect())
        .unwrap_or_default();
    let inherits_lints = manifest
        .get("lints")
        .and_then(|l| l.get("workspace"))
        .and_then(toml::Value::as_bool)
        .unwrap_or(false);
    Ok(Member {
        name: name.to_owned(),
        folder: folder.to_owned(),
        dependencies,
        inherits_lints,
    })
}

fn read_toml(path: &Path) -> Result<toml::Table, String> {
    read(path)?
        .parse()
        .map_err(|e| format!("{}: {e}", path.display()))
}

/// The text of a file.
///
/// # Errors
/// The path and what the system says.
pub fn read(path: &Path) -> Result<String, String> {
    std::fs::read_to_string(path).map_err(|e| format!("{}: {e}", path.display()))
}

/// The rows of the map in DEVELOPERS.md, by package name.
///
/// # Errors
/// A row with the wrong number of cells, or a name that stands there twice.
pub fn map() -> Result<BTreeMap<String, MapRow>, String> {
    let text = read(&workspace().join("DEVELOPERS.md"))?;
    let mut rows = BTreeMap::new();
    for line in text.lines().filter(|l| l.starts_with("| `corymb-")) {
        let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
        let [name, folder, consumes, produces, never, depends] = cells[..] else {
            return Err(format!("the map wants six cells a row: {line}"));
        };
        let row = MapRow {
            folder: bare(folder),
            invariants: [consumes, produces, never].map(str::to_owned),
            may_depend_on: depends
                .split(',')
                .map(bare)
                .filter(|d| !d.is_empty() && d != "nothing")
                .map(|d| format!("corymb-{d}"))
                .collect(),
        };
        if rows.insert(bare(name), row).is_some() {
            return Err(format!("twice on the map: {name}"));
        }
    }
    Ok(rows)
}

fn bare(cell: &str) -> String {
    cell.trim().trim_matches('`').to_owned()
}

/// Every `.rs` file under a folder (relative to the top), sorted, with its text.
///
/// # Errors
/// A folder or file that cannot be read.
pub fn rust_files(folder: &str) -> Result<Vec<(String, String)>, String> {
    let mut found = Vec::new();
    let mut left = vec![workspace().join(folder)];
    while let Some(next) = left.pop() {
        let entries = next
            .read_dir()
            .map_err(|e| format!("{}: {e}", next.display()))?;
        for path in entries.filter_map(Result::ok).map(|e| e.path()) {
            if path.is_dir() {
                left.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                found.push((relative(&path), read(&path)?));
            }
        }
    }
    found.sort();
    Ok(found)
}

/// The path from the top, with forward slashes.
fn relative(path: &Path) -> String {
    let top = workspace();
    let tail: PathBuf = path.strip_prefix(&top).unwrap_or(path).to_path_buf();
    tail.to_string_lossy().replace('\\', "/")
}
