import type { StartingValue } from '../../resistance/starting-values.js';
import type { FeelChoice, FeelNumber } from '../feel-choice.js';
import { FEEL_MEANING, shownValue, unitOf, valueText } from '../feel-words.js';
import { Choice } from './choice.js';
import { roleText, sentence } from './words.js';

interface FeelSetupProps {
  choice: FeelChoice;
  begin(): void;
  close(): void;
}

/** What to compare, on which finger, between which values. */
export function FeelSetup({ choice, begin, close }: FeelSetupProps) {
  const { fingers, finger, feels, what, person } = choice;
  if (fingers.value.length === 0) return <p class="lead">Nothing acts on a finger of this glove.</p>;
  return (
    <form
      class="feel-setup"
      onSubmit={(event) => {
        event.preventDefault();
        begin();
      }}
    >
      <Choice
        legend="On which finger"
        options={fingers.value.map((value) => ({ value, label: roleText(value) }))}
        chosen={finger.value}
        choose={(name) => choice.take(name, what.value)}
      />
      <fieldset class="feel-what">
        <legend>What to compare</legend>
        {feels.value.map((feel) => (
          <FeelLine
            key={feel.what}
            feel={feel}
            checked={what.value === feel.what}
            choose={() => choice.take(finger.value, feel.what)}
          />
        ))}
      </fieldset>
      {what.value && (
        <div class="feel-numbers">
          <NumberField choice={choice} name="a" label="One" unit={unitOf(what.value)} />
          <NumberField choice={choice} name="b" label="The other" unit={unitOf(what.value)} />
          <NumberField choice={choice} name="rounds" label="Rounds" />
        </div>
      )}
      <label class="feel-person">
        <span>Whose hand (may be left out)</span>
        <input
          type="text"
          maxLength={40}
          autocomplete="off"
          value={person}
          onInput={({ currentTarget: { value } }) => {
            person.value = value;
          }}
        />
      </label>
      <div class="actions">
        <button type="submit" class="main" disabled={what.value === undefined}>
          Begin
        </button>
        <button type="button" onClick={close}>
          Close
        </button>
      </div>
    </form>
  );
}

interface FeelLineProps {
  feel: StartingValue;
  checked: boolean;
  choose(): void;
}

const FeelLine = ({ feel: { what, value, against, why }, checked, choose }: FeelLineProps) => (
  <label data-able={String(value !== undefined)}>
    <input type="radio" name="feel-what" disabled={value === undefined} checked={checked} onChange={choose} />
    <span>
      <strong>{roleText(what)}</strong>, {FEEL_MEANING[what]}.{' '}
      <span class="why">
        {value === undefined || against === undefined
          ? `Not with this actuator: ${sentence(why)}`
          : `Begin with ${shownValue(what, value)} against ${valueText(what, against)}. ${sentence(why)}`}
      </span>
    </span>
  </label>
);

interface NumberFieldProps {
  choice: FeelChoice;
  name: FeelNumber;
  label: string;
  unit?: string;
}

const NumberField = ({ choice: { numbers }, name, label, unit = '' }: NumberFieldProps) => (
  <label class="feel-number">
    <span>{label}</span>
    <input
      type="text"
      inputMode="decimal"
      autocomplete="off"
      value={numbers.value[name]}
      onInput={({ currentTarget: { value } }) => {
        numbers.value = { ...numbers.value, [name]: value.replace(',', '.') };
      }}
    />
    <span>{unit}</span>
  </label>
);
