/** Keys while something lies over the screen: moving in a menu, choosing, typing, closing. */
import { changeConstant, saveDrive, toggleFault } from './drive.ts';
import { constantChoices, faultChoices } from './hand.ts';
import type { Overlay, Session } from './session.ts';
import { whyOf } from './why.ts';

export function pressInOverlay(session: Session, overlay: Overlay, key: string): void {
  if (key === 'escape') session.overlay = overlay === 'constant-value' ? 'constants' : undefined;
  else if (overlay === 'save' || overlay === 'constant-value') typeInto(session, overlay, key);
  else if (overlay === 'why' && (key === 'left' || key === 'right')) askNext(session, key === 'right' ? 1 : -1);
  else if (overlay === 'why' && key === 's') session.toggleCures();
  else if (key === 'up') session.chosen = Math.max(0, session.chosen - 1);
  else if (key === 'down') session.chosen += 1;
  else if (key === 'pageup') session.chosen = Math.max(0, session.chosen - 10);
  else if (key === 'pagedown') session.chosen += 10;
  else if (key === 'return' || key === 'space') choose(session, overlay);
  else if (key.length === 1) session.overlay = undefined;
}

/** Why of the next expectation that is not met, round in a circle. */
function askNext(session: Session, by: 1 | -1): void {
  const { why } = session;
  if (why === undefined || why.count < 2) return;
  session.why = whyOf(session, (why.index + by + why.count) % why.count);
  session.chosen = 0;
}

function typeInto(session: Session, overlay: Overlay, key: string): void {
  if (key === 'backspace' || key === 'delete') session.typed = session.typed.slice(0, -1);
  else if (key === 'space') session.typed += ' ';
  else if (key.length === 1) session.typed += key;
  else if (key === 'return' && session.typed.trim() !== '') {
    const typed = session.typed.trim();
    if (overlay === 'save') {
      session.overlay = undefined;
      saveDrive(session, typed);
    } else {
      const constant = constantChoices(session.play.parts)[session.chosen];
      if (constant !== undefined) changeConstant(session, constant.path, typed);
    }
  }
}

function choose(session: Session, overlay: Overlay): void {
  if (overlay === 'faults') {
    toggleFault(session, Math.min(session.chosen, faultChoices(session.play.parts, []).length - 1));
    session.overlay = undefined;
  } else if (overlay === 'lanes') toggleLane(session);
  else if (overlay === 'constants') {
    const choices = constantChoices(session.play.parts);
    session.chosen = Math.min(session.chosen, choices.length - 1);
    session.typed = '';
    if (choices.length > 0) session.overlay = 'constant-value';
  } else session.overlay = undefined;
}

/** The signals that can be put on the scope. */
export function laneChoices(session: Session): readonly string[] {
  return session.player.assembly.signals.filter(({ isDrawn }) => isDrawn !== true).map(({ name }) => name);
}

function toggleLane(session: Session): void {
  const choices = laneChoices(session);
  session.chosen = Math.min(session.chosen, choices.length - 1);
  const name = choices[session.chosen]!;
  const { lanes } = session.scope;
  const isOn = lanes.includes(name);
  session.scope = {
    ...session.scope,
    lanes: isOn ? lanes.filter((lane) => lane !== name) : [name, ...lanes],
    chosenLane: 0,
  };
  if (!isOn && session.player.trace.column(name) === undefined) session.rerecord();
}
