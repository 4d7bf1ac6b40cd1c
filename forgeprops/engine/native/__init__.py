"""The compiled engine: its C sources, the build that compiles them and the loader of the library."""
