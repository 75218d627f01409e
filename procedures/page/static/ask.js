// The present question, and everything that acts. A question is sent back by its id, so that an
// answer to an old one, or a second answer, is refused by the server.

import { byId, make, say } from "./dom.js";
import { planDrawing } from "./plan.js";
import { settings } from "./settings.js";

const NUMBER_WORDS = { m: "Length with its unit, such as 0.25 m or 9.8 in" };
const CALM_MS = 500; // a tap that was meant for the question before must not answer this one

/** Send one wish; return "" or why it was not taken. */
async function send(wish) {
  try {
    const answer = await fetch("/act", {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(wish),
    });
    if (answer.ok) return "";
    const text = await answer.text();
    try {
      return JSON.parse(text).error ?? text;
    } catch {
      return text;
    }
  } catch {
    return "Not sent: there is no connection. Use the terminal, or try again.";
  }
}

export class Ask {
  constructor(store) {
    this.store = store;
    this.box = byId("ask");
    this.shownId = "";
    this.notice = byId("notice");
    byId("capture").addEventListener("click", () => this.watch("capture"));
    byId("redo").addEventListener("click", () => this.watch("redo"));
    byId("stop").addEventListener("click", () => this.stop());
  }

  get mayAct() {
    return Boolean(this.store.site?.may_act);
  }

  draw() {
    const prompt = this.store.prompt;
    const view = this.store.view;
    const actions = byId("actions");
    actions.hidden = !(view && view.acts && this.mayAct);
    byId("capture").disabled = Boolean(view?.words);
    const id = prompt ? `${prompt.id}/${this.mayAct}` : "";
    if (id === this.shownId) return;
    this.shownId = id;
    this.box.hidden = !prompt;
    this.tell("");
    const hadFocus = this.box.contains(document.activeElement) || document.activeElement === document.body;
    this.box.replaceChildren(...(prompt ? this.card(prompt) : []));
    if (prompt) {
      if (settings.heard === "on")
        say(
          byId("spoken"),
          [prompt.caution && `Caution: ${prompt.caution}`, prompt.text].filter(Boolean).join(" "),
        );
      document.documentElement.dataset.asking = "yes";
      this.calm();
      if (hadFocus) this.box.querySelector("h2")?.focus({ preventScroll: true });
      scrollTo({ top: 0 });
    } else delete document.documentElement.dataset.asking;
  }

  card(prompt) {
    const parts = [];
    if (prompt.caution) {
      parts.push(
        make(
          "div",
          { className: "caution" },
          make("strong", { textContent: "Caution" }),
          make("p", { textContent: prompt.caution }),
        ),
      );
    }
    parts.push(make("h2", { id: "ask-text", tabIndex: -1, textContent: prompt.text }));
    if (prompt.verb === "cut" && this.store.plan) parts.push(planDrawing(this.store.plan, this.store.site));
    if (prompt.acts && this.mayAct) parts.push(this.form(prompt));
    else
      parts.push(
        make("p", {
          className: "looks",
          textContent: prompt.acts
            ? "The paired screen or the terminal answers this."
            : "The simulated technician answers this.",
        }),
      );
    return parts;
  }

  form(prompt) {
    const form = make("form", { className: "answer" });
    const button = (words, className, wish) => {
      const made = make("button", { type: "button", className, textContent: words });
      made.addEventListener("click", wish);
      return made;
    };
    const answer = (wish) => () => this.post({ id: prompt.id, ...wish });
    form.addEventListener("submit", (event) => event.preventDefault());
    if (prompt.kind === "number" || prompt.kind === "text") form.append(...this.typed(prompt, form));
    else form.append(...this.yesNo(prompt, button, answer));
    form.append(button("Stop the run", "stop", () => this.stop()));
    return form;
  }

  yesNo(prompt, button, answer) {
    const caution = prompt.kind === "acknowledge" && prompt.caution;
    const yes = button(
      prompt.kind === "acknowledge" ? "Acknowledge" : "Yes, done",
      "main",
      answer({ do: "yes" }),
    );
    const no = button(prompt.kind === "acknowledge" ? "Refuse" : "No", "", answer({ do: "no" }));
    if (!caution) return [yes, no];
    const read = make("input", { type: "checkbox" });
    yes.dataset.held = "yes";
    read.addEventListener("change", () => {
      yes.dataset.held = read.checked ? "" : "yes";
      this.hold();
    });
    return [
      make("label", { className: "read" }, read, make("span", { textContent: "I have read the caution" })),
      yes,
      no,
    ];
  }

  typed(prompt, form) {
    const number = prompt.kind === "number";
    const words = number
      ? (NUMBER_WORDS[prompt.unit] ?? `Number${prompt.unit.length > 1 ? ` in ${prompt.unit}` : ""}`)
      : "Text";
    const input = make("input", { id: "typed", type: "text", autocomplete: "off", maxLength: 500 });
    const sendIt = make("button", { type: "submit", className: "main", textContent: "Enter" });
    form.addEventListener("submit", () => {
      if (!sendIt.disabled) this.post({ id: prompt.id, do: "say", text: input.value });
    });
    const parts = [make("label", { htmlFor: "typed", textContent: words }), input, sendIt];
    if (prompt.suggestion) {
      const use = make("button", { type: "button", textContent: `Use ${prompt.suggestion}` });
      use.addEventListener("click", () => {
        input.value = `${prompt.suggested_value.toFixed(4)} ${prompt.unit}`;
        input.focus();
      });
      parts.splice(2, 0, use);
    }
    return parts;
  }

  calm() {
    const id = this.shownId;
    for (const button of this.box.querySelectorAll("button")) button.disabled = true;
    setTimeout(() => {
      if (id === this.shownId) this.hold();
    }, CALM_MS);
  }

  hold() {
    for (const button of this.box.querySelectorAll("button")) button.disabled = button.dataset.held === "yes";
  }

  watch(deed) {
    if (this.store.view) this.post({ id: this.store.view.id, do: deed });
  }

  async post(wish) {
    this.tell(await send(wish));
  }

  tell(text) {
    this.notice.hidden = !text;
    say(this.notice, text);
  }

  stop() {
    const dialog = byId("sure");
    const id = this.store.prompt?.id ?? this.store.view?.id;
    const stop = make("button", { type: "button", className: "stop", textContent: "Stop the run" });
    const go = make("button", { type: "button", className: "main", textContent: "Go on" });
    go.addEventListener("click", () => dialog.close());
    stop.addEventListener("click", () => {
      dialog.close();
      this.post({ id, do: "stop" });
    });
    dialog.replaceChildren(
      make("h2", { id: "sure-title", textContent: "Stop the run?" }),
      make("p", {
        textContent:
          "What is recorded is kept. You will be asked to put back what still radiates false guidance.",
      }),
      make("div", { className: "pair" }, go, stop),
    );
    dialog.showModal();
  }
}
