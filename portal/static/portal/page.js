// What every page does once it has loaded. Each module works by itself and leaves a page usable without it.
import "./theme_switch.js";
import "./tables.js";
import "./drop.js";
import "./forms.js";
