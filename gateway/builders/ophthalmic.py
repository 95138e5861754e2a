"""What eye modules of other IODs know and the ultrasound IODs do not: gaze, contact, couplant, speed, lens, vitreous.

All of them are standard-extended attributes (PS3.2 3.11.3): optional, defined by the Standard for other objects, listed
in the conformance statement. Whatever the exam does not state is left out; nothing is ever filled in.
"""

from __future__ import annotations

from gateway.builders.attributes import AttributeWriter
from gateway.model.capture import AcquisitionSettings, Capture
from gateway.model.position import Gaze
from gateway.standard.codes import concept, find_concept


def write_eye_circumstances(w: AttributeWriter, capture: Capture, path: str) -> None:
    """Write the circumstances of one capture.

    Parameters
    ----------
    path : str
        Field path of the capture, e.g. ``captures[2]``.
    """
    if capture.position.gaze:
        _write_gaze(w, capture.position.gaze, f"{path}.gaze")
    _write_contact(w, capture.settings, path)
    if capture.calibration and capture.calibration.assumed_speed_m_per_s is not None:
        _write_speed(w, capture.calibration.assumed_speed_m_per_s, f"{path}.calibration.assumed_speed_m_per_s")
    if capture.lens:
        w.code("LensStatusCodeSequence", concept("lens_status", capture.lens.value), f"{path}.lens")
    if capture.vitreous:
        w.code("VitreousStatusCodeSequence", concept("vitreous_status", capture.vitreous.value), f"{path}.vitreous")


def _write_gaze(w: AttributeWriter, gaze: Gaze, origin: str) -> None:
    """Write where the patient was asked to look, primary gaze included (PS3.3 C.8.17.2, PS3.16 CID 4201)."""
    w.set("PatientEyeMovementCommanded", "YES", origin)
    w.code("PatientEyeMovementCommandCodeSequence", concept("gaze", gaze.value), origin)


def _write_contact(w: AttributeWriter, settings: AcquisitionSettings, path: str) -> None:
    if settings.contact:
        # Through the closed lid is contact too (PS3.16 CID 4230); the lid stands in Acquisition Context.
        method = concept("contact_method", settings.contact.value)
        w.code("OphthalmicUltrasoundMethodCodeSequence", method, f"{path}.contact")
    couplant = find_concept("couplant", settings.couplant)
    if couplant:
        w.set("AcousticCouplingMediumFlag", "YES", f"{path}.couplant")
        w.code("AcousticCouplingMediumCodeSequence", couplant, f"{path}.couplant")


def _write_speed(w: AttributeWriter, speed_m_per_s: float, origin: str) -> None:
    """Write the one speed by which the device turned time into depth (photoacoustic modules, PS3.16 CID 11004)."""
    w.set("ObjectSoundSpeed", speed_m_per_s, origin)
    w.code("SoundSpeedCorrectionMechanismCodeSequence", concept("speed_correction", "uniform"), origin)
