// Building the page's parts. Text only ever becomes a text node: nothing that came over the wire
// can become markup, and the server's policy (trusted types) holds the page to that.

const SVG = "http://www.w3.org/2000/svg";

/** Return the element with this id. */
export const byId = (id) => document.getElementById(id);

/** Make an HTML element; `properties` are set as such, `data` goes to its dataset. */
export function make(tag, properties = {}, ...children) {
  const { data = {}, ...rest } = properties;
  const node = Object.assign(document.createElement(tag), rest);
  for (const [name, value] of Object.entries(data)) if (value) node.dataset[name] = value;
  node.append(...children.filter((child) => child !== null && child !== undefined && child !== ""));
  return node;
}

/** Make an SVG element with attributes. */
export function draw(tag, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, String(value));
  node.append(...children);
  return node;
}

/** Change a node's text only when it differs, so that nothing is laid out or read out twice. */
export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** Set or remove a data attribute, likewise only when it differs. */
export function mark(node, name, value) {
  if (value === "" || value === null || value === undefined) delete node.dataset[name];
  else if (node.dataset[name] !== String(value)) node.dataset[name] = String(value);
}
