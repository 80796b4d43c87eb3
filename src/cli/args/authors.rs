//! What authors of a knowledge base use: `vet`, `new`, `chart` and `schema`.

use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// `vet`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum vet                             the built-in knowledge base
  doldrum vet handheld                    another one that is built in
  doldrum vet my-craft --quick            a folder, while you write: what is wrong, and advice that takes no time
  doldrum vet my-craft --deny advice      advice counts as an error: for whoever keeps a base clean
  doldrum vet my-craft --format lines     file:line:column: level: message [code], as compilers write it
  doldrum vet my-craft --testability      how well its checks find its causes, symptom by symptom
  doldrum vet my-craft --play 200         plays jobs too, and tells of checks that were never chosen

Ends with 1 where there is an error, with 0 where there is only advice. docs/findings.md says what each code means.")]
pub struct Vet {
    /// A folder, or a built-in one by its name [default: that of --knowledge, else the usual one].
    #[arg(value_name = "NAME|FOLDER")]
    pub folder: Option<PathBuf>,
    /// How to print it.
    #[arg(long, value_enum, default_value = "text", value_name = "FORMAT")]
    pub format: VetFormat,
    /// What ends with 1 besides errors.
    #[arg(long, value_enum, value_name = "WHAT")]
    pub deny: Option<Deny>,
    /// Only what is read off the files; nothing is worked out about what checks show.
    #[arg(long, conflicts_with_all = ["testability", "play", "layout"])]
    pub quick: bool,
    /// Only this layout, where something is worked out; may be given again [default: all].
    #[arg(long, value_name = "LAYOUT", value_delimiter = ',')]
    pub layout: Vec<String>,
    /// Print how well the checks find the causes of each symptom.
    #[arg(long)]
    pub testability: bool,
    /// Play so many jobs, and tell of checks that were never chosen; a job takes about a second.
    #[arg(long, value_name = "JOBS")]
    pub play: Option<u16>,
}

/// How findings are printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum VetFormat {
    /// For people at a terminal.
    Text,
    /// For programs.
    Json,
    /// A line for each finding, as compilers write them: editors and build servers find the place.
    Lines,
    /// A line for each finding, as a command to a build server that shows it beside the change.
    Workflow,
}

/// What ends with 1 besides errors.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Deny {
    /// Advice too.
    Advice,
}

/// `new`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum new my-engine                        a knowledge base that works, of two causes
  doldrum new my-engine --name \"Garden pump\"   with a title
  doldrum new --case job.yaml                  a case of the built-in knowledge base, every choice in comments

Nothing is written over. docs/format.md walks through adding a cause.")]
pub struct New {
    /// The folder of a new knowledge base.
    #[arg(value_name = "FOLDER", required_unless_present = "case", conflicts_with = "case")]
    pub folder: Option<PathBuf>,
    /// What the knowledge base is about [default: the folder's name].
    #[arg(long, value_name = "TEXT", conflicts_with = "case")]
    pub name: Option<String>,
    /// Write a case instead, for the knowledge base of --knowledge.
    #[arg(long, value_name = "FILE")]
    pub case: Option<PathBuf>,
}

/// `chart`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum chart sy-no-crank                        the fault tree, its cut sets, what each cause has to do with it
  doldrum chart sy-no-crank --layout single --order 2
  doldrum chart sy-no-crank --format svg > tree.svg
  doldrum chart no-spark-all --format dot | dot -Tpdf > tree.pdf
  doldrum chart --case job.yaml                    after the answers of a case, for its first complaint")]
pub struct Chart {
    /// A symptom, or an effect (`id` or `id@place`) [default: the case's first symptom, else the first there is].
    #[arg(value_name = "EVENT")]
    pub event: Option<String>,
    /// The layout [default: the usual one].
    #[arg(long, value_name = "LAYOUT", conflicts_with = "case")]
    pub layout: Option<String>,
    /// The craft and the answers of this case.
    #[arg(long, value_name = "FILE")]
    pub case: Option<PathBuf>,
    /// The most causes of a minimal cut set.
    #[arg(long, default_value_t = 2, value_name = "CAUSES", value_parser = clap::value_parser!(u8).range(1..=10))]
    pub order: u8,
    /// The most events drawn, the likeliest causes first.
    #[arg(long, default_value_t = 60, value_name = "EVENTS", value_parser = clap::value_parser!(u16).range(2..))]
    pub most: u16,
    /// How to print it; svg and dot are the drawing alone.
    #[arg(long, value_enum, default_value = "text", value_name = "FORMAT")]
    pub format: ChartFormat,
    /// How much work inference may take.
    #[command(flatten)]
    pub budget: super::Budget,
}

/// How a fault tree is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ChartFormat {
    /// For people at a terminal.
    Text,
    /// The drawing alone.
    Svg,
    /// The graph alone, in the language of Graphviz.
    Dot,
    /// For programs.
    Json,
    /// For a page.
    Markdown,
    /// One file for a browser, a phone or a printer.
    Html,
}

/// `completions`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum completions bash > ~/.local/share/bash-completion/completions/doldrum
  doldrum completions zsh > ~/.zfunc/_doldrum
  doldrum completions fish > ~/.config/fish/completions/doldrum.fish")]
pub struct Completions {
    /// The shell.
    #[arg(value_enum, value_name = "SHELL")]
    pub shell: clap_complete::Shell,
}

/// `man`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum man | man -l -                             read it here
  doldrum man --folder ~/.local/share/man/man1       one page for each command; then: man doldrum-vet")]
pub struct Man {
    /// Write a page for each command into this folder.
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
}

/// `schema`.
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  doldrum schema case > case.json
  doldrum schema knowledge --kind causes
  doldrum schema --folder schema          all of them

An editor with a YAML language server completes and checks a file whose first line is, for a case,
  # yaml-language-server: $schema=schema/case.json
and for a file of causes
  # yaml-language-server: $schema=schema/knowledge/causes.json")]
pub struct Schema {
    /// Of what [default: what there is].
    #[arg(value_enum, value_name = "WHAT")]
    pub of: Option<SchemaOf>,
    /// For knowledge: the kind of file, such as causes or checks [default: any of them].
    #[arg(long, value_name = "KIND")]
    pub kind: Option<String>,
    /// Write all of them into this folder.
    #[arg(long, value_name = "FOLDER", conflicts_with_all = ["of", "kind"])]
    pub folder: Option<PathBuf>,
}

/// What there is a schema of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SchemaOf {
    /// The files of a knowledge base.
    Knowledge,
    /// A case file.
    Case,
    /// What `assess --format json` prints.
    Assess,
    /// What `plan --format json` prints.
    Plan,
    /// What `calc --format json` prints.
    Calc,
    /// What `vet --format json` prints.
    Vet,
    /// What `chart --format json` prints.
    Chart,
}
