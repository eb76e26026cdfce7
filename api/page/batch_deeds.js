// What a tap does with batches: each deed of theirs, by its word in the page.

import { askBatch, askClose, askCorrection, askMove, askStick } from "./batch_form.js";
import { lookAt } from "./batches.js";
import { lastWho } from "./event_form.js";
import { askLook } from "./look_form.js";
import { askPlants } from "./plants_form.js";
import { showRecord } from "./record.js";

/**
 * Return the deeds.
 * @param bench Returns the bench now.
 * @param known What the page knows; its batches, and the tray that is chosen.
 * @param ownTime Returns nowMs, zone and whether one may write.
 * @param done Called when something was written.
 */
export function batchDeeds({ bench, known, ownTime, done }) {
  const batchOf = (code) => known.batches.find((one) => one.code === code);
  const here = () => ({ ...ownTime(), tray: known.chosen, batches: known.batches });
  return {
    stick: () => askBatch(bench(), here(), done),
    bundle: () => askBatch(bench(), { ...here(), tray: null }, done, { stuck: false }),
    "stick-labelled": ({ batch }) => askStick(bench(), batchOf(batch), here(), done),
    "correct-batch": ({ batch }) => askCorrection(bench(), batchOf(batch), ownTime(), done),
    "look-closely": ({ batch }) => askLook(batchOf(batch), ownTime(), done),
    plants: ({ batch }) => askPlants(batchOf(batch), ownTime(), done),
    record: ({ batch }) => showRecord(bench(), batch, ownTime(), done),
    move: ({ batch }) => askMove(bench(), batchOf(batch), ownTime(), done),
    close: ({ batch }) => askClose(batchOf(batch), ownTime(), done),
    look: ({ tray }) => {
      const at = new Date(ownTime().nowMs()).toISOString();
      const found = bench().trays.find((one) => one.name === tray);
      return lookAt(found, known.batches, { at, who: lastWho() }, done);
    },
  };
}
