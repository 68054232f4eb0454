//! The pages of `examples/` as a reader follows them: every command is run, and what it prints is what the page shows.

#[test]
fn every_command_of_the_guides_does_what_the_page_shows() {
    trycmd::TestCases::new().case("examples/*/README.md");
}
