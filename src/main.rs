//! The command line program.

mod cli;

fn main() -> std::process::ExitCode {
    cli::run()
}
