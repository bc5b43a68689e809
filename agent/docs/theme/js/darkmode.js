// In the place of the theme's script of this name, which expects a highlighter that is not loaded:
// light or dark as the reader's system is, before anything is drawn.
const dark = window.matchMedia("(prefers-color-scheme: dark)");

function follow() {
  document.documentElement.setAttribute("data-bs-theme", dark.matches ? "dark" : "light");
}

dark.addEventListener("change", follow);
follow();
