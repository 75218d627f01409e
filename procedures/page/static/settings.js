// How this screen shows things. Kept on this screen only.

import { byId, make } from "./dom.js";

const CHOICES = {
  theme: {
    title: "Light",
    options: [
      ["auto", "As the device"],
      ["light", "Light: sunlight"],
      ["dark", "Dark"],
      ["night", "Night: red on black"],
    ],
  },
  unit: {
    title: "DDM in",
    options: [
      ["thousandths", "Thousandths"],
      ["ua", "µA"],
    ],
  },
  sound: {
    title: "Sound",
    options: [
      ["off", "Off"],
      ["on", "Pitch rises toward the target"],
    ],
  },
  awake: {
    title: "Screen",
    options: [
      ["on", "Stays on while a value is watched"],
      ["off", "As the device"],
    ],
  },
  heard: {
    title: "Screen reader",
    options: [
      ["on", "Speaks the value every few seconds"],
      ["off", "Silent"],
    ],
  },
  keys: {
    title: "Single keys",
    options: [
      ["on", "c captures, r begins again"],
      ["off", "Off"],
    ],
  },
};
const STORE = "trimbench display";

class Settings {
  constructor() {
    this.listeners = [];
    for (const [name, choice] of Object.entries(CHOICES)) this[name] = choice.options[0][0];
    try {
      const kept = JSON.parse(localStorage.getItem(STORE) ?? "{}");
      for (const [name, choice] of Object.entries(CHOICES)) {
        if (choice.options.some(([value]) => value === kept[name])) this[name] = kept[name];
      }
    } catch {
      /* a browser that keeps nothing still shows everything */
    }
    this.apply();
  }

  onChange(listener) {
    this.listeners.push(listener);
  }

  set(name, value) {
    this[name] = value;
    const kept = Object.fromEntries(Object.keys(CHOICES).map((key) => [key, this[key]]));
    try {
      localStorage.setItem(STORE, JSON.stringify(kept));
    } catch {
      /* as above */
    }
    this.apply();
    for (const listener of this.listeners) listener(name);
  }

  apply() {
    document.documentElement.dataset.theme = this.theme;
  }
}

export const settings = new Settings();
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () =>
  settings.set("theme", settings.theme),
);

/** Fill the dialog and wire its button. */
export function wireSettings() {
  const dialog = byId("settings");
  const groups = Object.entries(CHOICES).map(([name, choice]) =>
    make(
      "fieldset",
      {},
      make("legend", { textContent: choice.title }),
      ...choice.options.map(([value, words]) => {
        const input = make("input", { type: "radio", name, value, checked: settings[name] === value });
        input.addEventListener("change", () => settings.set(name, value));
        return make("label", {}, input, make("span", { textContent: words }));
      }),
    ),
  );
  const close = make("button", { type: "button", className: "main", textContent: "Close" });
  close.addEventListener("click", () => dialog.close());
  dialog.append(make("h2", { id: "settings-title", textContent: "Display" }), ...groups, close);
  byId("open-settings").addEventListener("click", () => dialog.showModal());
}
