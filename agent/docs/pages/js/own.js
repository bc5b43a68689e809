// What style sheets cannot do. Without it, everything is readable all the same.

// Where the page is narrow, each row of a wide table stands as a list: own.css shows these labels.
for (const table of document.querySelectorAll("table")) {
  const heads = [...table.querySelectorAll("thead th")].map((head) => head.textContent);
  if (heads.length < 3) continue;
  table.classList.add("labelled");
  for (const row of table.querySelectorAll("tbody tr")) {
    [...row.cells].forEach((cell, place) => { cell.dataset.label = heads[place]; });
  }
}

// Long names of series and keys may break where a person would break them.
for (const name of document.querySelectorAll("td code")) {
  name.innerHTML = name.innerHTML.replaceAll("_", "_<wbr>");
}

// What is wider than the page can be moved by keyboard.
function reachable() {
  for (const box of document.querySelectorAll("pre, table")) {
    if (box.scrollWidth > box.clientWidth) box.tabIndex = 0;
    else box.removeAttribute("tabindex");
  }
}

window.addEventListener("resize", reachable);
reachable();
