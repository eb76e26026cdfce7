// Photos: made smaller on this device, which also leaves out where they were taken,
// then sent; and kept in the browser's own store while the bench cannot be heard.

import { sendPicture } from "./api.js";
import { field } from "./dialogs.js";
import { h } from "./dom.js";

const LONGEST_SIDE = 2_000; // chosen: pixels; a leaf's edge is seen, in some 600 kB
const QUALITY = 0.85;
const LARGEST = 12_000_000; // bytes that the bench takes
const TAKEN_AS_IS = ["image/jpeg", "image/png", "image/webp"];
const STORE = "bottomheat.photos";
const MOST_WAITING = 20; // chosen: photos that wait on this device

/** Return the part of a form that takes a photo. */
export function photoField(hint) {
  const input = h("input", { name: "photo", type: "file", accept: "image/*", capture: "environment" });
  return field("Photo", input, hint);
}

/** Return the photo of a form as it is sent; null: none was taken. */
export async function photoOf(form) {
  const file = form.elements.photo?.files[0];
  if (!file) return null;
  const photo = await smaller(file);
  if (photo.size > LARGEST) throw new Error("This photo is larger than 12 MB");
  return photo;
}

/** Draw a photo anew, upright and not too large; as it is where that cannot be done. */
async function smaller(file) {
  let image;
  try {
    image = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    // The bench says what is wrong with it, if it says to be a picture at all.
    if (TAKEN_AS_IS.includes(file.type)) return file;
    throw new Error("This browser cannot read that file as a photo: JPEG, PNG or WebP is right");
  }
  const scale = Math.min(1, LONGEST_SIDE / Math.max(image.width, image.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(image.width * scale));
  canvas.height = Math.max(1, Math.round(image.height * scale));
  const brush = canvas.getContext("2d");
  brush.fillStyle = "white"; // a JPEG has nothing to see through
  brush.fillRect(0, 0, canvas.width, canvas.height);
  brush.drawImage(image, 0, 0, canvas.width, canvas.height);
  image.close();
  const photo = await new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
  if (!photo) throw new Error("This browser cannot make the photo smaller");
  return photo;
}

/** Send a photo; return the name that it is kept under. */
export async function sendPhoto(photo) {
  return (await sendPicture("/v1/photos", photo)).name;
}

// --------------------------------------------------------- kept on this device

/** Keep a photo under a key until it is sent; throw where this device does not. */
export async function keepPhoto(key, photo) {
  // As bytes: not every browser keeps a file's content.
  const entry = { type: photo.type, bytes: await photo.arrayBuffer() };
  const count = await onStore("readonly", (store) => store.count());
  if (count >= MOST_WAITING) throw new Error("too many photos wait");
  await onStore("readwrite", (store) => store.put(entry, key));
}

/** Return a photo that was kept, or null. */
export async function keptPhoto(key) {
  try {
    const entry = await onStore("readonly", (store) => store.get(key));
    return entry ? new Blob([entry.bytes], { type: entry.type }) : null;
  } catch {
    return null;
  }
}

/** Forget a photo that was kept. */
export async function forgetPhoto(key) {
  try {
    await onStore("readwrite", (store) => store.delete(key));
  } catch {
    // There is no such store: nothing was kept.
  }
}

function onStore(mode, ask) {
  return new Promise((done, failed) => {
    const opening = indexedDB.open(STORE, 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("waiting");
    opening.onerror = () => failed(opening.error);
    opening.onblocked = () => failed(new Error("another window holds it"));
    opening.onsuccess = () => {
      const store = opening.result;
      const turn = store.transaction("waiting", mode);
      const asked = ask(turn.objectStore("waiting"));
      const over = (end) => {
        store.close();
        end();
      };
      turn.oncomplete = () => over(() => done(asked.result));
      turn.onabort = () => over(() => failed(turn.error));
      turn.onerror = () => over(() => failed(turn.error));
    };
  });
}
