"""The command line: options, the job they describe, and what each subcommand prints."""
