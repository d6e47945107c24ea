//! In: an argument that names recordings. Out: the name of the group and its files.

use std::path::{Path, PathBuf};

use crate::error::Error;

/// The recordings of one group.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct GroupPaths {
    pub(super) name: String,
    pub(super) files: Vec<PathBuf>,
}

impl GroupPaths {
    /// The groups of all arguments; two of the same name are told apart by their number.
    pub(super) fn all(arguments: &[String]) -> Result<Vec<GroupPaths>, Error> {
        let mut groups: Vec<GroupPaths> =
            arguments.iter().map(|argument| GroupPaths::of(argument)).collect::<Result<_, _>>()?;
        let names: Vec<String> = groups.iter().map(|group| group.name.clone()).collect();
        for (at, group) in groups.iter_mut().enumerate() {
            if names.iter().filter(|name| **name == group.name).count() > 1 {
                group.name = format!("{} ({})", group.name, at + 1);
            }
        }
        Ok(groups)
    }

    /// A file, a folder of files, or files with commas between; a name and `=` may precede them.
    fn of(argument: &str) -> Result<GroupPaths, Error> {
        let (name, list) = match argument.split_once('=') {
            Some((name, list)) if !Path::new(argument).exists() && !name.is_empty() => (Some(name), list),
            _ => (None, argument),
        };
        let parts: Vec<&str> = if Path::new(list).exists() { vec![list] } else { list.split(',').collect() };
        let mut files = Vec::new();
        for part in &parts {
            match Path::new(part).is_dir() {
                true => files.extend(folder(part)?),
                false => files.push(PathBuf::from(part)),
            }
        }
        let stem = Path::new(parts[0]).file_stem().map_or(parts[0].into(), |stem| stem.to_string_lossy());
        Ok(GroupPaths { name: name.map_or_else(|| stem.into_owned(), str::to_owned), files })
    }
}

/// The files of a folder by name, without hidden ones.
fn folder(name: &str) -> Result<Vec<PathBuf>, Error> {
    let unreadable = |source| Error::Unreadable { file: name.to_owned(), source };
    let mut files = Vec::new();
    for entry in std::fs::read_dir(name).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        let is_hidden = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'));
        if path.is_file() && !is_hidden {
            files.push(path);
        }
    }
    files.sort();
    if files.is_empty() {
        return Err(Error::Empty { file: name.to_owned() });
    }
    Ok(files)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_files_come_from_the_argument() {
        let check = |argument: &str, name: &str, files: &[&str]| {
            let expected =
                GroupPaths { name: name.to_owned(), files: files.iter().map(PathBuf::from).collect() };
            assert_eq!(GroupPaths::of(argument).unwrap(), expected, "{argument}");
        };
        check("none/before.csv", "before", &["none/before.csv"]);
        check("gain 2=none/a.csv,none/b.csv", "gain 2", &["none/a.csv", "none/b.csv"]);
        check("none/a.csv,none/b.csv", "a", &["none/a.csv", "none/b.csv"]);
        check("=none/a.csv", "a", &["=none/a.csv"]);
        let names = |arguments: &[&str]| {
            let arguments: Vec<String> = arguments.iter().map(|one| (*one).to_owned()).collect();
            GroupPaths::all(&arguments).unwrap().into_iter().map(|group| group.name).collect::<Vec<_>>()
        };
        assert_eq!(names(&["none/1/x.csv", "none/2/x.csv", "y.csv"]), ["x (1)", "x (2)", "y"]);
    }

    #[test]
    fn a_folder_is_all_its_files() {
        let folder = std::env::temp_dir().join(format!("stillpoint-group-{}", std::process::id()));
        std::fs::create_dir_all(folder.join("inner")).unwrap();
        let name = folder.display().to_string();
        assert!(GroupPaths::of(&name).unwrap_err().to_string().contains("is empty"));
        for file in ["b.csv", "a.csv", ".hidden"] {
            std::fs::write(folder.join(file), "").unwrap();
        }
        assert_eq!(GroupPaths::of(&name).unwrap().files, [folder.join("a.csv"), folder.join("b.csv")]);
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
