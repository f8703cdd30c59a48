//! Theme and text size are those of the last session.

use egui::Theme;

use super::driving::Window;

fn theme_and_size(window: &Window) -> (Theme, f32) {
    (window.harness.ctx.theme(), window.harness.ctx.zoom_factor())
}

#[test]
fn the_chosen_theme_and_text_size_are_restored_in_the_next_session() {
    let mut window = Window::new();
    window.harness.run_steps(3);
    let file = window.home.path().join("view.toml");
    assert_eq!(theme_and_size(&window), (Theme::Light, 1.0));
    assert!(!file.exists(), "nothing was chosen");
    for choice in ["Dark", "150 %"] {
        window.click("View");
        window.click(choice);
        window.harness.key_press(egui::Key::Escape);
        window.harness.run_steps(3);
    }
    assert_eq!(theme_and_size(&window), (Theme::Dark, 1.5));

    let mut next = Window::in_home(window.home);
    next.harness.run_steps(4);
    assert_eq!(theme_and_size(&next), (Theme::Dark, 1.5));
    let kept: toml::Table = std::fs::read_to_string(&file).unwrap().parse().unwrap();
    assert_eq!(kept["theme"].as_str(), Some("dark"));
    assert_eq!(kept["text_percent"].as_integer(), Some(150));
}

#[test]
fn an_invalid_view_file_is_not_an_error() {
    for (text, expected) in [
        ("theme = [[", Theme::Light),
        ("theme = \"dark\"\ntext_percent = -3\n", Theme::Light),
        ("theme = \"green\"\ntext_percent = 60000\n", Theme::Light),
        ("theme = \"dark\"\ntext_percent = 0\n", Theme::Dark),
    ] {
        let home = tempfile::tempdir().unwrap();
        std::fs::write(home.path().join("view.toml"), text).unwrap();
        let mut window = Window::in_home(home);
        window.harness.run_steps(4);
        assert_eq!(theme_and_size(&window), (expected, 1.0), "{text}");
        assert!(window.harness.state().shared().notice.is_none(), "{text}");
    }
}
