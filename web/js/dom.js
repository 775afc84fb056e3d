// Making elements without markup in strings: text is always text.

/** @typedef {Node | string | number | null | undefined | false} Child */

/**
 * An element with attributes, listeners (`on...`) and children; null, undefined and false are left out.
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, any>} [attributes]
 * @param {...(Child | Child[])} children
 * @returns {HTMLElementTagNameMap[K]}
 */
export function h(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== null && value !== undefined && value !== false) element.setAttribute(name, String(value));
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false).map(asNode));
  return element;
}

/** @param {any} child */
function asNode(child) {
  return child instanceof Node ? child : document.createTextNode(String(child));
}

/**
 * An SVG element.
 * @param {string} tag
 * @param {Record<string, string | number>} [attributes]
 * @param {...Node} children
 */
export function svg(tag, attributes = {}, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
  element.append(...children);
  return element;
}

/**
 * Writes text only when it differs, so that a live region speaks changes and not repeats.
 * @param {Node} node
 * @param {string} text
 */
export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/**
 * Sets custom properties through CSSOM; the policy allows no inline style.
 * @param {HTMLElement | SVGElement} element
 * @param {Record<string, number>} values
 */
export function place(element, values) {
  for (const [name, value] of Object.entries(values)) {
    const text = String(Math.round(value * 1e4) / 1e4);
    if (element.style.getPropertyValue(name) !== text) element.style.setProperty(name, text);
  }
}
