//! The manual pages and the completions of shells, made from the declaration of the
//! command line: they cannot say anything else than the program.

use std::path::PathBuf;

use anyhow::Context;
use clap::CommandFactory;
use clap_complete::Shell;
use kickplate::command_line::CommandLine;

/// `kickplate-lab manual`: what a package holds beside the program.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct ManualOptions {
    /// Folder to write into.
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
}

/// Writes `man/*.1` and `completions/` into the folder.
///
/// # Errors
/// The folder cannot be written to.
pub fn manual(options: &ManualOptions) -> anyhow::Result<()> {
    let [pages, completions] = ["man", "completions"].map(|name| options.out.join(name));
    let cannot = || format!("'{}' cannot be written to", options.out.display());
    for folder in [&pages, &completions] {
        std::fs::create_dir_all(folder).with_context(cannot)?;
    }
    clap_mangen::generate_to(CommandLine::command(), &pages).with_context(cannot)?;
    for shell in [Shell::Bash, Shell::Zsh, Shell::Fish] {
        let command = &mut CommandLine::command();
        clap_complete::generate_to(shell, command, "kickplate", &completions)
            .with_context(cannot)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_command_has_a_page_and_every_shell_knows_it() {
        let dir = tempfile::tempdir().expect("a folder");
        let out = dir.path().to_owned();
        manual(&ManualOptions { out: out.clone() }).expect("pages");
        let read = |name: &str| std::fs::read_to_string(out.join(name)).expect(name);
        let completions = ["kickplate.bash", "_kickplate", "kickplate.fish"]
            .map(|name| read(&format!("completions/{name}")));
        for command in CommandLine::command().get_subcommands() {
            let name = command.get_name();
            let page = read(&format!("man/kickplate-{name}.1"));
            assert!(page.contains(".TH "), "{name}");
            for completion in &completions {
                assert!(completion.contains(name), "{name}");
            }
        }
        assert!(read("man/kickplate.1").contains("stride"));
    }
}
