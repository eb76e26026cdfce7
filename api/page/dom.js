// Making elements, and bringing a drawn part up to date without replacing what
// has the reader's focus. No part of the bench is known here.

const SVG = "http://www.w3.org/2000/svg";

/** Return an HTML element. Attributes that are null, undefined or false are left out. */
export function h(name, attributes = {}, ...children) {
  return filled(document.createElement(name), attributes, children);
}

/** Return an SVG element. */
export function s(name, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, name), attributes, children);
}

function filled(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    element.setAttribute(name, value === true ? "" : String(value));
  }
  for (const child of children.flat(Infinity)) {
    if (child === null || child === undefined || child === false) continue;
    element.append(child);
  }
  return element;
}

/** Make an element's children like those given; those that are alike stay in place. */
export function show(element, ...wanted) {
  const children = wanted.flat(Infinity).filter((one) => one !== null && one !== false);
  const nodes = children.map((one) => (one instanceof Node ? one : document.createTextNode(one)));
  alikeChildren(element, nodes);
}

function alikeChildren(element, nodes) {
  nodes.forEach((node, place) => {
    const present = element.childNodes[place];
    if (!present) element.append(node);
    else if (!sameKind(present, node)) present.replaceWith(node);
    else alike(present, node);
  });
  while (element.childNodes.length > nodes.length) element.lastChild.remove();
}

function sameKind(present, node) {
  return (
    present.nodeType === node.nodeType &&
    present.nodeName === node.nodeName &&
    keyOf(present) === keyOf(node)
  );
}

function keyOf(node) {
  return node.nodeType === Node.ELEMENT_NODE ? node.getAttribute("data-key") : null;
}

function alike(present, node) {
  if (node.nodeType !== Node.ELEMENT_NODE) {
    if (present.data !== node.data) present.data = node.data;
    return;
  }
  for (const { name } of [...present.attributes]) {
    if (!node.hasAttribute(name) && name !== "open") present.removeAttribute(name);
  }
  for (const { name, value } of node.attributes) {
    if (present.getAttribute(name) !== value) present.setAttribute(name, value);
  }
  alikeChildren(present, [...node.childNodes]);
}

/** Return the element of an id, which must be there. */
export function byId(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page has no element ${id}`);
  return found;
}

/** Say something to whoever listens to the page instead of looking at it. */
export function announce(text) {
  byId("spoken").textContent = text;
}
