// Light or dark as the board was last left here, else as the system asks.
(() => {
  const left = window.localStorage.getItem("mantine-color-scheme-value");
  const asked = window.matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
  document.documentElement.dataset.mantineColorScheme =
    left === "dark" || left === "light" ? left : asked;
})();
