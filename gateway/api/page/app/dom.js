// The only place that makes elements. Text becomes text nodes and nothing else: a holder may be called
// `<img src=x onerror=...>`, and then that is what people read. There is no way from here to markup, to an inline
// style or to an address outside this gateway.

const SVG = "http://www.w3.org/2000/svg";
const PROPERTIES = new Set(["value", "checked", "disabled", "hidden", "selected", "required", "readOnly", "multiple", "open", "indeterminate"]);

/** An HTML element. `attributes.on` has listeners by event; null and false attributes and children are left out. */
export function el(tag, attributes = {}, ...children) {
  return build(document.createElement(tag), attributes, children);
}

/** An SVG element, made the same way. */
export function svg(tag, attributes = {}, ...children) {
  return build(document.createElementNS(SVG, tag), attributes, children);
}

/** Put these children in place of all others. */
export function fill(parent, ...children) {
  parent.replaceChildren(...nodes(children));
  return parent;
}

/** Change a text only when it is another one: nothing is announced twice, no selection is lost. */
export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
  return node;
}

/** Set or take away one attribute. */
export function set(node, name, value) {
  if (value === null || value === undefined || value === false) node.removeAttribute(name);
  else if (node.getAttribute(name) !== String(value)) node.setAttribute(name, value === true ? "" : String(value));
  return node;
}

/**
 * Keep a list of elements in step with a list of items. An element stays the same one as long as its key does, so that
 * focus, open parts and what somebody is typing survive an update.
 */
export function keep(parent, items, { key, make, update = () => {} }) {
  const before = new Map([...parent.children].map((node) => [node.dataset.key, node]));
  let place = parent.firstElementChild;
  for (const item of items) {
    const name = String(key(item));
    let node = before.get(name);
    before.delete(name);
    if (!node) {
      node = make(item);
      node.dataset.key = name;
    }
    update(node, item);
    if (node === place) place = place.nextElementSibling;
    else parent.insertBefore(node, place);
  }
  for (const node of before.values()) node.remove();
}

function build(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "on") for (const [event, listener] of Object.entries(value)) node.addEventListener(event, listener);
    else if (PROPERTIES.has(name)) node[name] = value;
    else if (name === "href" || name === "src" || name === "action") set(node, name, ownAddress(value));
    else if (name === "style" || name.startsWith("on")) throw new Error(`${name} is not set here`);
    else set(node, name, value);
  }
  node.append(...nodes(children));
  return node;
}

function nodes(children) {
  return children
    .flat(Infinity)
    .filter((child) => child !== null && child !== undefined && child !== false)
    .map((child) => (child instanceof Node ? child : document.createTextNode(String(child))));
}

function ownAddress(address) {
  if (/^(#|\/(?!\/)|blob:)/.test(address)) return address;
  throw new Error("an address outside this gateway");
}
