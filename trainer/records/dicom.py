"""A picture as a DICOM secondary capture: for viewers and archives, plainly marked as simulated."""

import hashlib

import pydicom
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import ExplicitVRLittleEndian, SecondaryCaptureImageStorage, generate_uid

from meshes.whole_files import whole_file
from trainer.physics.xray_marks import stamp, view_name

WORD = "SIMULATED"
# Longest text of the fields used (DICOM PS3.5, table 6.2-1: LO).
LONGEST = 64


def _text(words):
    """Return words that a field of 64 characters can hold; a backslash would part it in two."""
    return str(words).replace("\\", "/")[:LONGEST]


def _uid(*parts):
    """Return an identifier that belongs to this content: the same picture gets the same one."""
    return generate_uid(entropy_srcs=[hashlib.sha256(repr(part).encode()).hexdigest() for part in parts])


def secondary_capture(picture, *, carm, patient, case, seed):
    """Return a picture as a DICOM data set (pydicom Dataset).

    Parameters
    ----------
    picture : (n, n) uint8
        Bone dark, as on the screen; the word SIMULATED is burned in.
    carm : CArm
        It was taken with.
    patient : str
        Title of the invented patient.
    case : str
        What study and series are told apart by.
    seed : int

    Source
    ------
    DICOM PS3.3, A.8.1 Secondary Capture Image IOD; C.8.6.1 and C.8.6.2 of its modules.
    """
    picture = stamp(picture, WORD)
    capture = Dataset()
    capture.file_meta = FileMetaDataset()
    capture.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    capture.file_meta.MediaStorageSOPClassUID = SecondaryCaptureImageStorage
    capture.SOPClassUID = SecondaryCaptureImageStorage
    capture.SOPInstanceUID = _uid(case, seed, carm, picture.tobytes())
    capture.file_meta.MediaStorageSOPInstanceUID = capture.SOPInstanceUID
    capture.StudyInstanceUID = _uid("study", case, seed)
    capture.SeriesInstanceUID = _uid("series", case, seed)
    capture.SpecificCharacterSet = "ISO_IR 192"
    _describe(capture, carm, patient, seed)
    _pixels(capture, picture, carm)
    return capture


def _describe(capture, carm, patient, seed):
    capture.PatientName = f"{WORD}^{_text(patient)[: LONGEST - len(WORD) - 1]}".replace("=", " ")
    capture.PatientID = f"{WORD}-{seed}"
    capture.PatientBirthDate = capture.PatientSex = ""
    capture.PatientComments = f"{WORD}: an invented patient, computed for training"
    capture.QualityControlSubject = "YES"
    capture.StudyDate = capture.StudyTime = capture.AccessionNumber = capture.StudyID = ""
    capture.ReferringPhysicianName = ""
    capture.StudyDescription = f"{WORD} lead trial"
    capture.SeriesDescription = _text(f"{WORD} {view_name(carm)}")
    capture.SeriesNumber = capture.InstanceNumber = 1
    capture.Laterality = ""
    capture.Modality = "OT"
    capture.ConversionType = "SYN"
    capture.ImageType = ["DERIVED", "SECONDARY"]
    capture.PatientOrientation = ""
    capture.ImageComments = f"{WORD}: not a picture of any person, not for diagnosis"


def _pixels(capture, picture, carm):
    rows, columns = picture.shape
    capture.SamplesPerPixel, capture.PhotometricInterpretation = 1, "MONOCHROME2"
    capture.Rows, capture.Columns = rows, columns
    capture.BitsAllocated = capture.BitsStored = 8
    capture.HighBit, capture.PixelRepresentation = 7, 0
    capture.BurnedInAnnotation = "YES"
    capture.NominalScannedPixelSpacing = [_decimal(carm.pixel_pitch)] * 2
    # True in the plane of the isocentre only: other depths are magnified otherwise.
    capture.PixelSpacing = [_decimal(1.0 / carm.pixels_per_mm)] * 2
    capture.PixelSpacingCalibrationType = "GEOMETRY"
    capture.PixelSpacingCalibrationDescription = "plane of the isocentre"
    capture.PixelData = picture.tobytes() + b"\0" * (picture.size % 2)


def _decimal(value):
    return f"{value:.9f}"


def write_dicom(path, picture, *, carm, patient, case, seed):
    """Write a picture as one DICOM file in one step; the arguments are those of `secondary_capture`.

    Raises OSError if the folder cannot be written.
    """
    capture = secondary_capture(picture, carm=carm, patient=patient, case=case, seed=seed)
    with whole_file(path) as draft:
        pydicom.dcmwrite(draft, capture, enforce_file_format=True)
